"""The user's own prices: differences of plans, data by the GB, and what is not known."""

import pytest

from linkfit.errors import InputError
from linkfit.site.plan import Plan
from linkfit.site.prices import PlanPrice, Prices

ON_SALE = Prices(plans=tuple(
    PlanPrice(cap_bytes=gb * 1e9, month_cost=money) for gb, money in ((60, 20), (100, 28.5), (5, 9))
))  # fmt: skip


@pytest.mark.parametrize(
    ("prices", "plan", "then_gb", "expected"),
    [
        (ON_SALE, Plan(cap_bytes=60e9), 100, 8.5),
        (ON_SALE, Plan(cap_bytes=60e9), 150, None),  # not on sale
        (ON_SALE, Plan(cap_bytes=50e9), 100, None),  # what it costs now was not said
        (ON_SALE, Plan(cap_bytes=60e9), 5, 0.0),  # a change never earns money
        (Prices(), Plan(cap_bytes=60e9), 100, None),
        (Prices(extra_per_gb=1.5), Plan(cap_bytes=60e9), 100, 60.0),
        (Prices(), Plan(cap_bytes=60e9, price_per_gb=4.0), 63, 12.0),
        (Prices(extra_per_gb=1.5), Plan(cap_bytes=60e9, price_per_gb=4.0), 62, 3.0),
        (Prices(extra_per_gb=1.5), Plan(), 62, None),
    ],
)
def test_what_a_larger_plan_costs_more_a_month(prices, plan, then_gb, expected):
    assert prices.plan_month_cost(plan, then_gb * 1e9) == expected


@pytest.mark.parametrize(
    ("panel_w", "battery_wh", "expected"),
    [(100, 0, 110.0), (0, 500, None), (100, 500, None), (0, 0, 0.0)],
)
def test_power_without_one_of_its_prices_has_none(panel_w, battery_wh, expected):
    found = Prices(panel_per_w=1.1).power_once_cost(panel_w, battery_wh)
    assert found == (None if expected is None else pytest.approx(expected))


def test_panel_and_battery_add_up():
    prices = Prices(panel_per_w=1.0, battery_per_wh=0.3)
    assert prices.power_once_cost(100, 500) == pytest.approx(250.0)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Prices(panel_per_w=-1.0), r"panel_per_w: expected .* got -1"),
        (lambda: PlanPrice(cap_bytes=0.0, month_cost=1.0), r"cap: expected .* got 0"),
        (lambda: Prices(plans=ON_SALE.plans * 2), r"plans: expected different caps, got one twice"),
    ],
)
def test_wrong_prices_are_refused(make, message):
    with pytest.raises(InputError, match=message):
        make()
