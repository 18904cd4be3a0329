import pytest

from linkfit.report.money import money_text
from linkfit.site.prices import Prices


@pytest.mark.parametrize(
    ("month", "once", "expected"),
    [
        (0.0, 0.0, "none"),
        (15.0, 0.0, "15 EUR a month"),
        (8.5, 0.0, "8.50 EUR a month"),
        (0.0, 1200.0, "1200 EUR once"),
        (15.0, 120.0, "15 EUR a month and 120 EUR once"),
        (None, 0.0, "price not given"),
        (15.0, None, "price not given"),  # part of it is not the price
    ],
)
def test_money_is_said_with_currency_and_how_often(month, once, expected):
    assert money_text(month, once, "EUR") == expected


def test_without_a_currency_an_amount_still_reads():
    assert money_text(8.0, 15.0, Prices().currency) == (
        "8 units of money a month and 15 units of money once"
    )
