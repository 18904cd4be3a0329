"""Change: one setting moved to one level, with what it costs, as a value that edits a Site."""

from dataclasses import dataclass

from linkfit._checks import fraction, non_negative
from linkfit.advice.edits import Edit
from linkfit.errors import InputError
from linkfit.site.model import Site
from linkfit.site.prices import Prices

# one point is an hour of work or a tenth of the quality: weights to make costs comparable, a
# judgement of this project (common practice has none)
POINTS_PER_QUALITY = 10.0
POINTS_PER_MONEY = 1e-6  # decides between equals only: what may be spent is a limit of its own
COMMON_PRACTICE = "common practice"
THE_REST = f"; the rest: {COMMON_PRACTICE}"


def source_of(what: str) -> str:
    """`what` has a source of its own; how much quality and work a change takes is judged."""
    return f"{what}{THE_REST}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What a change takes away, in parts that are shown apart.

    Parameters
    ----------
    quality_loss_frac : float
        Share of what users notice that is lost: 0 nothing, 1 everything.
    effort_h : float
        Work to set it up, once. [h]
    month_cost, once_cost : float or None
        Money a month, and money once; 0: it buys nothing; None: it buys what has no price yet.
        [currency of the site's prices]
    source : str
        Where the numbers come from.
    """

    quality_loss_frac: float = 0.0
    effort_h: float = 0.0
    month_cost: float | None = 0.0
    once_cost: float | None = 0.0
    source: str = COMMON_PRACTICE

    def __post_init__(self) -> None:
        fraction("quality_loss_frac", self.quality_loss_frac)
        non_negative("effort_h", self.effort_h)
        for name in ("month_cost", "once_cost"):
            if getattr(self, name) is not None:
                non_negative(name, getattr(self, name))

    @property
    def points(self) -> float:
        """Quality and work on one scale, of equals the less money first. [points]"""
        money = (self.month_cost or 0.0) + (self.once_cost or 0.0)
        return (
            self.quality_loss_frac * POINTS_PER_QUALITY + self.effort_h + money * POINTS_PER_MONEY
        )

    @property
    def buys(self) -> bool:
        """Does it cost money, known or not?"""
        return self.month_cost != 0 or self.once_cost != 0

    def is_within(self, prices: Prices) -> bool:
        """May it be chosen: does it buy nothing, or no more than the user said?"""
        asked = ((self.month_cost, prices.most_month_cost), (self.once_cost, prices.most_once_cost))
        return all(
            cost == 0 or (cost is not None and most is not None and cost <= most)
            for cost, most in asked
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One level of one setting.

    Parameters
    ----------
    what : str
        The setting in plain words, for example "long edge of stored photos".
    service : str
        Service, backlog or cause it belongs to; "" for the whole site.
    setting : str
        Key of the setting: a chosen set holds at most one change of each.
    before_text, after_text, cost_text : str
        The value now, the value then, and what is lost, as a person says them.
    strength_frac : float
        In (0, 1]: the effect of this level as a share of the strongest one's, on a log scale;
        used to guess levels in between before they are evaluated, never shown.
    """

    what: str
    service: str
    setting: str
    before_text: str
    after_text: str
    cost_text: str
    cost: Cost
    edits: tuple[Edit, ...]
    strength_frac: float = 1.0

    def __post_init__(self) -> None:
        if not 0 < self.strength_frac <= 1:
            raise InputError(
                f"strength_frac: expected a number in (0, 1], got {self.strength_frac:g}"
            )
        if not self.edits:
            raise InputError("edits: expected at least one, got none")

    @property
    def name(self) -> str:
        """Setting and level: unlike that of any other change of a site."""
        return f"{self.setting} -> {self.after_text}"

    def apply(self, site: Site) -> Site:
        """`site` with this change; parts it does not touch stay the same objects."""
        for edit in self.edits:
            site = edit.apply(site)
        return site


def apply_all(site: Site, changes: tuple[Change, ...]) -> Site:
    """`site` with all of `changes`, in the order of their names, so that a set is one site."""
    for change in sorted(changes, key=lambda change: change.name):
        site = change.apply(site)
    return site
