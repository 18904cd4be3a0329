"""What a change does, in numbers before and after, and in one plain sentence."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from linkfit.advice.change import Change
from linkfit.advice.measures import LARGEST_MARGIN, NOTICED, SURE_LEVEL, Measure, target_measures
from linkfit.forecast.outcomes import Evaluation
from linkfit.units import format_duration, format_share, format_size

_SAME_FRAC = 0.005  # data use or days that move by less look the same to a reader
N_IN_SENTENCE = 3
NOISE = 0.2  # doublings: a 95th percentile of 400 runs moves by 15 % from draw to draw
REFUSED = "not carried"
_MOST_DIGITS = 7  # two values nearer than that are one to any reader


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """One measure before and after a change; inf: never. `better` tells the direction.

    `weight` is how far it moved, in doublings; `target_value` None for a measure without one.
    """

    measure: str
    unit: str
    before: float
    after: float
    better: bool
    weight: float
    target_value: float | None = None
    refused_before: bool = False
    refused_after: bool = False

    @property
    def text(self) -> str:
        """As a person says it: ``"view a photo 3.1 s -> 1.9 s"``."""
        before = format_value(self.before, self.unit, refused=self.refused_before)
        after = format_value(self.after, self.unit, refused=self.refused_after)
        return f"{self.measure} {before} -> {after}"

    @property
    def within_noise(self) -> bool:
        """Is it a time that got longer by no more than drawing anew may move it?"""
        return not self.better and self.unit == "s" and self.weight < NOISE


def format_value(value: float, unit: str, *, refused: bool = False) -> str:
    """A measure's value with its unit, as a person writes it; "never" for infinity."""
    if refused:
        return REFUSED
    if not math.isfinite(value):
        return "never"
    if unit == "s":
        return format_duration(value)
    if unit == "days":
        return format_duration(value * 86400.0)
    if unit == "bytes":
        return format_size(value)
    return format_share(value)


def format_against(value: float, bound: float, unit: str, *, refused: bool = False) -> str:
    """`value` in as many digits as it takes to look different from `bound` if it is.

    "4.03 s, wanted 4.0 s" where two digits would print the same number twice.
    """
    text = format_value(value, unit, refused=refused)
    if refused or value == bound or not (math.isfinite(value) and math.isfinite(bound)):
        return text
    if text != format_value(bound, unit):
        return text
    if unit == "probability":
        return next(
            (
                f"{100 * value:.{n}f} %"
                for n in range(1, _MOST_DIGITS)
                if f"{100 * value:.{n}f}" != f"{100 * bound:.{n}f}"
            ),
            text,
        )
    longer = format_duration if unit in {"s", "days"} else format_size
    scale = 86400.0 if unit == "days" else 1.0
    for n_digits in range(3, _MOST_DIGITS):
        if longer(scale * value, n_digits) != longer(scale * bound, n_digits):
            return longer(scale * value, n_digits)
    return text


def gains(
    before: Evaluation,
    after: Evaluation,
    judge: Callable[[Evaluation], tuple[Measure, ...]] = target_measures,
) -> tuple[Gain, ...]:
    """Every measure that a change moves, those it moves most first.

    The targets of the site, and besides them the data of a usual cycle and the days that each
    backlog takes, which a reader wants to know even where no target is set.
    """
    moved = [pair for pair in zip(judge(before), judge(after), strict=True) if _moved(*pair)]
    # against another target the same value says nothing: a larger plan
    found = [_target_gain(old, new) for old, new in moved if old.target_value == new.target_value]
    found += _plain_gains(before, after)
    if any(old.target_value != new.target_value for old, new in moved):
        found.append(_plan_gain(before, after))
    return tuple(sorted(found, key=lambda gain: (-gain.weight, gain.measure)))


def _moved(old: Measure, new: Measure) -> bool:
    return old.known and new.known and abs(new.margin - old.margin) >= NOTICED


def _target_gain(old: Measure, new: Measure) -> Gain:
    return Gain(
        measure=old.text,
        unit=old.unit,
        before=old.value,
        after=new.value,
        better=new.margin > old.margin,
        weight=abs(new.margin - old.margin),
        target_value=old.target_value,
        refused_before=old.refused,
        refused_after=new.refused,
    )


def _plan_gain(before: Evaluation, after: Evaluation) -> Gain:
    """What another plan is bought for, and so comes first."""
    was, becomes = (one.data.prob_over_cap or 0.0 for one in (before, after))
    return Gain(
        measure="chance that the data plan runs out in a cycle",
        unit="probability",
        before=was,
        after=becomes,
        better=becomes < was,
        weight=LARGEST_MARGIN,
    )


def _plain_gains(before: Evaluation, after: Evaluation) -> list[Gain]:
    quantities = [
        ("data in a usual cycle", "bytes", before.data.use.quantile(0.5),
         after.data.use.quantile(0.5)),
        *((f"{old.backlog.name}: done in 19 of 20 futures after", "days",
           old.days.quantile(SURE_LEVEL), new.days.quantile(SURE_LEVEL))
          for old, new in zip(before.backlogs, after.backlogs, strict=True)),
    ]  # fmt: skip
    found = []
    for measure, unit, old, new in quantities:
        was, becomes = float(old), float(new)
        if was == becomes or abs(becomes - was) < _SAME_FRAC * was:
            continue
        both = math.isfinite(was) and math.isfinite(becomes) and min(was, becomes) > 0
        weight = abs(math.log2(becomes / was)) if both else 1.0
        found.append(
            Gain(measure=measure, unit=unit, before=was, after=becomes, better=becomes < was,
                 weight=weight)
        )  # fmt: skip
    return found


def reason(change: Change, found: tuple[Gain, ...]) -> str:
    """One sentence: what to set, what that alone does, what it costs."""
    owner = f" ({change.service})" if change.service and change.service not in change.what else ""
    head = f"{change.what}{owner}: {change.before_text} -> {change.after_text}"
    better = [gain.text for gain in found if gain.better][:N_IN_SENTENCE]
    effect = "; ".join(better) if better else "no gain alone, needed together with the others"
    return f"{head}. Alone: {effect}. Cost: {change.cost_text}."


def hindrance(measure: Measure) -> str:
    """One sentence on a target that is missed: value, target."""
    value = format_against(measure.value, measure.target_value, measure.unit)
    target = format_value(measure.target_value, measure.unit)
    if measure.unit == "probability":
        return f"{measure.text}: {value}, wanted {target} or more"
    if not math.isfinite(measure.target_value):
        return f"{measure.text}: the path does not carry it"
    return f"{measure.text}: {value}, wanted {target} or less"
