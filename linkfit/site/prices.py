"""Prices: the user's own figures of what may be bought, and how much may be spent."""

from dataclasses import dataclass

from linkfit._checks import non_negative, positive
from linkfit.errors import InputError
from linkfit.site.plan import Plan

BYTES_PER_GB = 1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanPrice:
    """A plan that is on sale: its cap [bytes], and money a month."""

    cap_bytes: float
    month_cost: float

    def __post_init__(self) -> None:
        positive("cap", self.cap_bytes)
        non_negative("per_month", self.month_cost)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """What things cost where the site is; None: not said, which is not the same as nothing.

    Parameters
    ----------
    currency : str
        Of every figure here.
    plans : tuple of PlanPrice
        Plans on sale, the present one among them.
    extra_per_gb : float or None
        Of each GB beyond the plan, bought beforehand. [money per GB]
    panel_per_w, battery_per_wh : float or None
        Bought once. [money per W, money per Wh]
    most_month_cost, most_once_cost : float or None
        Most money that changes may cost; None: none may be spent. [money a month, money]
    """

    currency: str = "units of money"
    plans: tuple[PlanPrice, ...] = ()
    extra_per_gb: float | None = None
    panel_per_w: float | None = None
    battery_per_wh: float | None = None
    most_month_cost: float | None = None
    most_once_cost: float | None = None

    def __post_init__(self) -> None:
        for name in (
            "extra_per_gb", "panel_per_w", "battery_per_wh", "most_month_cost", "most_once_cost",
        ):  # fmt: skip
            if getattr(self, name) is not None:
                non_negative(name, getattr(self, name))
        caps = [plan.cap_bytes for plan in self.plans]
        if len(set(caps)) < len(caps):
            raise InputError("plans: expected different caps, got one twice; keep one of them")

    def plan_month_cost(self, plan: Plan, cap_bytes: float) -> float | None:
        """Money a month that `cap_bytes` cost more than `plan`; None: not known.

        From the plans on sale, else so much data more at the price of each GB beyond the cap.
        """
        prices = {one.cap_bytes: one.month_cost for one in self.plans}
        if plan.cap_bytes in prices and cap_bytes in prices:
            return max(prices[cap_bytes] - prices[plan.cap_bytes], 0.0)
        per_gb = plan.price_per_gb if self.extra_per_gb is None else self.extra_per_gb
        if per_gb is None or plan.cap_bytes is None:
            return None
        return per_gb * max(cap_bytes - plan.cap_bytes, 0.0) / BYTES_PER_GB

    def power_once_cost(self, panel_w: float, battery_wh: float) -> float | None:
        """Money for so much more panel [W] and battery [Wh]; None: a price is not known."""
        parts = ((panel_w, self.panel_per_w), (battery_wh, self.battery_per_wh))
        wanted = [(amount, price) for amount, price in parts if amount > 0]
        if any(price is None for _, price in wanted):
            return None
        return sum(amount * price for amount, price in wanted if price is not None)
