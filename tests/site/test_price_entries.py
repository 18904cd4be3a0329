"""The table [prices]: read as written, every problem told, nothing made up."""

import pytest

from linkfit.errors import ConfigError
from linkfit.site.file import parse_site
from linkfit.site.prices import PlanPrice, Prices

HEAD = '[site]\nname = "hut"\n[plan]\ncap = "60 GB"\n[prices]\n'
PLANS = 'plans = [{ cap = "60 GB", per_month = 20 }, { cap = "100 GB", per_month = 28.5 }]\n'


def test_all_keys_are_read():
    text = (
        f'{HEAD}{PLANS}currency = "EUR"\nextra_per_GB = 1.5\npanel_per_W = 1.1\n'
        "battery_per_Wh = 0.35\nmost_per_month = 15\nmost_once = 300\n"
    )
    assert parse_site(text).prices == Prices(
        currency="EUR",
        plans=(
            PlanPrice(cap_bytes=60e9, month_cost=20.0), PlanPrice(cap_bytes=1e11, month_cost=28.5),
        ),
        extra_per_gb=1.5, panel_per_w=1.1, battery_per_wh=0.35, most_month_cost=15.0,
        most_once_cost=300.0,
    )  # fmt: skip


def test_without_the_table_nothing_has_a_price():
    assert parse_site('[site]\nname = "hut"\n').prices == Prices()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("panel_per_W = -1\n", "prices: panel_per_W: expected at least 0, got -1"),
        ("panel_per_w = 1\n", "did you mean 'panel_per_W'"),
        ('most_once = "300"\n', "prices: most_once: expected a number, got '300'"),
        ('plans = [{ cap = "9 GB" }]\n', "prices: plans 1: per_month: expected a value"),
        ('plans = [{ cap = "9 GB", per_month = 1 }]\n',
         r"prices: plans: expected the present plan of 60.0 GB among them, got 9.00 GB; add it"),
        (PLANS.replace("100", "60"), "prices: plans: expected each plan once, got 60.0 GB twice"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_told(text, message):
    with pytest.raises(ConfigError, match=message):
        parse_site(HEAD + text)


def test_a_wrong_cap_of_the_plan_is_told_alone():
    with pytest.raises(ConfigError) as caught:
        parse_site((HEAD + PLANS).replace('"60 GB"\n[', '"60"\n['))
    assert all("prices" not in problem for problem in caught.value.problems)
