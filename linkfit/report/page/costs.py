"""Money and work: what a cycle and a GB cost, and what each chosen change would take."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.draws import Forecast
from linkfit.report.money import money_text
from linkfit.report.page.blocks import Block, Bullets, Section, Table
from linkfit.report.page.rounding import said, with_interval
from linkfit.units import format_share

if TYPE_CHECKING:
    from linkfit.forecast.outcomes import DataForecast
    from linkfit.report.page.material import Material
    from linkfit.site.model import Site

_BYTES_PER_GB = 1e9
_LEVELS = (0.05, 0.5, 0.95)


def costs_section(found: "Material") -> Section | None:
    """Costs of the cycle as it is and with the changes, and of each change; None without any."""
    site, changed = found.site, found.advice.after.site
    blocks: list[Block] = []
    lines = [*_prices(site), *_cycle(site, found.data.data)]
    if found.advice.chosen:
        after = found.advice.after.data
        lines += [f"with the changes: {line}" for line in _cycle(changed, after)]
    if lines:
        blocks.append(Bullets(items=tuple(lines)))
    if found.record["changes"]:
        blocks += [_change_table(found), Bullets(items=(_together(found),))]
    if not blocks:
        return None
    return Section(key="costs", title="What it costs", part="answers", blocks=tuple(blocks))


def _prices(site: "Site") -> list[str]:
    """What the site file says of the plan's price."""
    currency, plan = site.prices.currency, site.plan
    month_cost = plan_month_cost(site)
    lines = []
    if month_cost is not None:
        lines.append(f"the plan itself costs {money_text(month_cost, 0.0, currency)}")
    if plan.price_per_gb is not None:
        lines.append(f"each GB over the cap costs {said(plan.price_per_gb, currency, 3)}")
    return lines


def _cycle(site: "Site", data: "DataForecast") -> list[str]:
    """What a billing cycle costs, and each GB that it uses; nothing without prices."""
    currency, month_cost = site.prices.currency, plan_month_cost(site)
    lines = []
    if data.cost is not None:
        over = f"in a billing cycle what is over the cap costs {_spread(data.cost, currency)}"
        if data.prob_over_cap is not None:
            over += f"; nothing in {format_share(1 - data.prob_over_cap)} of cycles"
        lines.append(over)
    if month_cost is not None:
        whole = _plus(data, month_cost)
        lines.append(f"a billing cycle costs {_spread(whole, currency)} in all")
    if month_cost is not None or data.cost is not None:
        each = _spread(gb_cost(data, month_cost or 0.0), currency)
        beside = "" if month_cost is not None else " beside the plan's own price (not given)"
        lines.append(f"each GB used costs {each}{beside}")
    return lines


def plan_month_cost(site: "Site") -> float | None:
    """Money a month for the site's own plan; None where [prices] does not have it."""
    return next((one.month_cost for one in site.prices.plans
                 if one.cap_bytes == site.plan.cap_bytes), None)  # fmt: skip


def gb_cost(data: "DataForecast", month_cost: float) -> Forecast:
    """Money for each GB that a cycle uses, the plan's price and what is over the cap together.

    What the plan does not let through is not paid for and not counted.
    """
    carried = data.use if data.carried is None else data.carried
    draws = _plus(data, month_cost).draws / (carried.draws / _BYTES_PER_GB)
    return Forecast(draws=draws, unit="money", world=carried.world)


def _plus(data: "DataForecast", month_cost: float) -> Forecast:
    """The plan's price and what is over its cap. [money]"""
    over = 0.0 if data.cost is None else data.cost.draws
    draws = np.broadcast_to(month_cost + over, data.use.draws.shape)
    return Forecast(draws=draws, unit="money", world=data.use.world)


def _spread(cost: Forecast, currency: str) -> str:
    """Median with the 5 % and 95 % points, and the mean, which a rare bill moves alone."""
    low, middle, high = (float(q) for q in cost.quantile(_LEVELS))
    text = with_interval(middle, low, high, currency)
    if np.ptp(cost.draws) == 0:
        return text
    mean = f"mean {said(float(cost.draws.mean()), currency)}"
    return f"{text[:-1]}, {mean})" if text.endswith(")") else f"{text} ({mean})"


def _change_table(found: "Material") -> Table:
    currency = found.record["currency"]
    rows = []
    for change in found.record["changes"]:
        parts = change["cost_parts"]
        where = f"{change['service']}: " if change["service"] else ""
        rows.append(
            (
                f"{where}{change['what']}",
                f"{change['from']} to {change['to']}",
                money_text(parts["money"], parts["money_once"], currency),
                f"{parts['effort_h']:.1f} h",
                _share(parts["quality_loss_frac"]),
                parts["source"],
            )
        )
    return Table(
        caption="What each chosen change takes",
        header=("change", "step", "money", "work, once", "quality lost", "figures from"),
        rows=tuple(rows),
        numeric=(2, 3, 4),
    )


def _together(found: "Material") -> str:
    best = found.record["answers"]["cheapest"]
    money = money_text(best["money"], best["money_once"], found.record["currency"])
    money = "no money" if money == "none" else money
    return (
        f"all of them: {money}, {best['effort_h']:.1f} h of work once; the service hit "
        f"hardest loses {_share(best['worst_loss_frac'])} of its quality"
    )


def _share(loss_frac: float) -> str:
    return format_share(loss_frac) if loss_frac else "none"
