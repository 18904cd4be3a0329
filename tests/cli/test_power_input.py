"""What `linkfit power` was asked."""

import pytest

from linkfit.cli.power_input import asked_power, power_answer
from linkfit.errors import InputError
from linkfit.site.hours import Hours, Power
from linkfit.site.model import Site

HUT = Power(battery_wh=640, load_w=13, load_busy_w=16, panel_w=120, sun_hours=3.5)
SITE = Site(name="hut", hours=Hours(power=HUT))


def test_options_replace_what_the_site_says():
    as_it_is = asked_power(SITE, battery=None, load=None, panel=None)
    assert as_it_is == HUT
    other = asked_power(SITE, battery="1.2 kWh", load="10 W", panel="200 W")
    assert (other.battery_wh, other.load_w, other.load_busy_w, other.panel_w) == (
        1200, 10, 13, 200
    )  # fmt: skip


def test_a_site_without_power_is_told_what_to_add():
    with pytest.raises(InputError, match=r"SITE: expected a table \[power\], got none; add"):
        asked_power(Site(name="x"), battery=None, load=None, panel=None)
    with pytest.raises(InputError, match="--load: expected a number and W"):
        asked_power(SITE, battery=None, load="13", panel=None)


def test_one_number_of_sun_is_said_to_be_one():
    record = power_answer(SITE, HUT, None, month="December", seed=0)
    assert [one["month"] for one in record["months"]] == ["december"]
    assert any("used for december as it stands" in note for note in record["notes"])
    by_month = Power(
        battery_wh=640, load_w=13, panel_w=120, sun_hours_by_month=(3.0,) * 11 + (1.0,)
    )
    record = power_answer(SITE, by_month, None, month=None, seed=0)
    assert len(record["months"]) == 12
    assert record["changes_month"] == "december"
    assert not any("one number" in note for note in record["notes"])
    alone = power_answer(SITE, Power(battery_wh=640, load_w=13), None, month=None, seed=0)
    assert alone["notes"] == [
        "without a panel the battery is taken to be charged elsewhere once a day"
    ]
