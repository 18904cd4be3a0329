"""What moved between the answers of two reports, and which differences are real."""

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import stdtr

from linkfit.forecast.differences import Difference, difference_of, judged
from linkfit.report.page.answers import KINDS, Answers, ToldNumber, ToldRecord, or_never

if TYPE_CHECKING:
    from numpy.typing import NDArray

_LIKE_HOURS = 0.5  # of the hours of the day that two records must share, as in compare_links
_SEED = 20  # of the hours' part in a difference: any fixed number
NOT_SAID = "not set"


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberChange:
    """One number in both reports; `difference` is of the later one less the earlier one."""

    earlier: ToldNumber
    now: ToldNumber
    difference: Difference

    @property
    def is_same(self) -> bool:
        """Are both the same in every draw of the unknown link?"""
        return self.earlier.worlds == self.now.worlds and self.earlier.value == self.now.value


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """A text in both reports that is not the same, such as a verdict or a setting."""

    name: str
    earlier: str
    now: str


def number_changes(earlier: Answers, now: Answers) -> tuple[NumberChange, ...]:
    """Every number that both reports have, judged; of tasks those that were slowest in either.

    Notes
    -----
    Each draw of one report's unknown link meets each of the other's, as if the reports told
    nothing of each other: measurements that both hold make that cautious. Real: Student's t of
    the log ratio (where a draw is "never": the share of pairs, as in `compare_links`) by Hochberg
    at 5 % over all numbers of a kind. Where the records share less than half of their hours of the
    day, the spread of their daily patterns widens the ratio of the rates, as in `compare_links`.
    """
    before = {(one.kind, one.name, one.what, one.unit): one for one in earlier.numbers}
    slow = {one.slowest for report in (earlier, now) for one in report.services}
    hours = other_hours(earlier, now)
    found: list[NumberChange] = []
    for kind in KINDS:
        pairs = [
            (old, one)
            for one in now.numbers
            if one.kind == kind
            and (kind != "task" or one.name in slow)
            and (old := before.get((kind, one.name, one.what, one.unit)))
        ]
        sigmas = [hours.get(one.name, 0.0) if kind == "link" else 0.0 for _, one in pairs]
        differences = judged(
            [_difference(*pair, sigma) for pair, sigma in zip(pairs, sigmas, strict=True)]
        )
        found += [
            NumberChange(earlier=old, now=one, difference=difference)
            for (old, one), difference in zip(pairs, differences, strict=True)
        ]
    return tuple(found)


def other_hours(earlier: Answers, now: Answers) -> dict[str, float]:
    """Directions whose records share less than half of their hours: what that may do to log rate.

    The value is the spread of the log ratio that other hours may make by themselves. [1]
    """
    before = {one.direction: one for one in earlier.records}
    return {
        one.direction: math.hypot(one.hours_sigma, before[one.direction].hours_sigma)
        for one in now.records
        if one.direction in before and _at_other_hours(before[one.direction], one)
    }


def _at_other_hours(earlier: ToldRecord, now: ToldRecord) -> bool:
    if len(earlier.hour_fracs) != len(now.hour_fracs) or not now.hour_fracs:
        return False
    return float(np.minimum(earlier.hour_fracs, now.hour_fracs).sum()) < _LIKE_HOURS


def _difference(earlier: ToldNumber, now: ToldNumber, hours_sigma: float) -> Difference:
    """The difference over all pairs of draws."""
    ones, others = _worlds(earlier), _worlds(now)
    normal = np.random.default_rng(_SEED).standard_normal(ones.size * others.size)
    values = or_never(earlier.value), or_never(now.value)
    found = difference_of(
        now.name,
        now.unit,
        values,
        np.repeat(ones, others.size),
        np.tile(others, ones.size) * np.exp(hours_sigma * normal),
    )
    p_value = _student_p(values, ones, others, hours_sigma)
    return found if p_value is None else replace(found, p_value=p_value)


def _student_p(
    values: tuple[float, float],
    first_values: "NDArray[np.float64]",
    second_values: "NDArray[np.float64]",
    hours_sigma: float,
) -> float | None:
    """Two-sided p-value of the ratio of `values`; None where a draw is never or 0, or none differ.

    Pairs of so few draws could not show less than 2 %, too much for a dozen numbers together.

    Notes
    -----
    The draws scatter as the value itself does, so the variance of the log ratio is the sum of
    theirs; Student's t with the degrees of freedom of F. E. Satterthwaite, "An approximate
    distribution of estimates of variance components", Biometrics Bulletin 2(6), 1946 (from
    memory).
    """
    both = (first_values, second_values)
    if not all(np.isfinite(one).all() and (one > 0).all() and one.size > 1 for one in both):
        return None
    variances = [float(np.log(one).var(ddof=1)) for one in both]
    total = sum(variances) + hours_sigma**2
    if total <= 0 or not all(0 < value < math.inf for value in values):
        return None
    parts = [v**2 / (one.size - 1) for v, one in zip(variances, both, strict=True)]
    n_free = total**2 / sum(parts) if sum(parts) > 0 else math.inf
    return float(2.0 * stdtr(n_free, -abs(math.log(values[1] / values[0])) / math.sqrt(total)))


def _worlds(told: ToldNumber) -> "NDArray[np.float64]":
    return np.array([or_never(value) for value in told.worlds])


def moved_verdicts(earlier: Answers, now: Answers) -> tuple[Moved, ...]:
    """Services whose verdict is another one, and those that only one report has."""
    return _moved(
        {one.name: one.verdict for one in earlier.services},
        {one.name: one.verdict for one in now.services},
        "not asked for",
    )


def moved_settings(earlier: Answers, now: Answers) -> tuple[Moved, ...]:
    """Settings of the site that differ; spaces alone make no difference."""
    return _moved(dict(earlier.settings), dict(now.settings), NOT_SAID)


def _moved(earlier: dict[str, str], now: dict[str, str], absent: str) -> tuple[Moved, ...]:
    names = [*now, *(name for name in earlier if name not in now)]
    both = [Moved(name=name, earlier=earlier.get(name, absent), now=now.get(name, absent))
            for name in names]  # fmt: skip
    return tuple(one for one in both if _bare(one.earlier) != _bare(one.now))


def _bare(text: str) -> str:
    return "".join(text.split())
