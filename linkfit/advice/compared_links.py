"""What a comparison of links holds: each link by itself, and pairs of them."""

from dataclasses import dataclass

from linkfit.forecast.differences import Difference
from linkfit.forecast.outcomes import Evaluation
from linkfit.forecast.rate_differences import RatePercentiles
from linkfit.forecast.telling_apart import MoreTests
from linkfit.link.model import LinkModel
from linkfit.site.model import Site

STAND_WORDS = {"yes": "fits", "no": "does not fit", "open": "not enough data"}
DIRECTIONS = ("up", "down")
LEVEL_WORDS = ("median", "mean")


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedLink:
    """A link under its name; `site` is what is asked of it, `month_cost` in any money a month."""

    name: str
    link: LinkModel
    site: Site | None = None
    month_cost: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How one link stands by itself.

    `verdicts` is by service, for the site as it is; `prob_best` the chance that no other link
    misses the targets by less, links that miss by the same sharing it; `rates` is by direction.
    """

    name: str
    month_cost: float | None
    evaluation: Evaluation | None
    verdicts: tuple[tuple[str, str], ...]
    prob_best: float | None
    rates: tuple[tuple[str, RatePercentiles], ...]
    missing: tuple[str, ...]

    @property
    def n_fit(self) -> int:
        """Services that fit."""
        return sum(verdict == STAND_WORDS["yes"] for _, verdict in self.verdicts)


@dataclass(frozen=True, slots=True, kw_only=True)
class RateComparison:
    """One direction of two links: the percentiles of seconds, or why they cannot be compared."""

    direction: str
    differences: tuple[Difference, ...] = ()
    why_not: str = ""
    more_tests: MoreTests | None = None

    @property
    def level(self) -> tuple[Difference, ...]:
        """The differences of the median and of the mean, which tell whether one is faster."""
        return tuple(one for one in self.differences if one.what in LEVEL_WORDS)


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeComparison:
    """A task with a target, or a backlog, on two links: median, and what 19 of 20 stay within."""

    service: str
    name: str
    target_value: float | None
    p50: Difference
    p95: Difference


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictChange:
    """A service whose verdict differs between two links."""

    service: str
    first: str
    second: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PairComparison:
    """Two links; differences are of the second against the first.

    `chances`: that the first misses the targets of the site by less, that both miss them by the
    same (mostly: not at all), that the second misses them by less; None without a site.
    """

    first: str
    second: str
    rates: tuple[RateComparison, ...]
    times: tuple[TimeComparison, ...] = ()
    backlogs: tuple[TimeComparison, ...] = ()
    verdict_changes: tuple[VerdictChange, ...] = ()
    chances: tuple[float, float, float] | None = None
    cautions: tuple[str, ...] = ()

    @property
    def is_real(self) -> bool | None:
        """Do the levels differ for good in any direction? None: nothing to compare."""
        levels = [level for one in self.rates for level in one.level]
        return any(level.real for level in levels) if levels else None


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkComparison:
    """All links, and every other one against the first."""

    seed: int
    site: str | None
    standings: tuple[Standing, ...]
    pairs: tuple[PairComparison, ...]
