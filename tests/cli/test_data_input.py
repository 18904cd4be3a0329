from datetime import datetime

import pytest

from linkfit.cli.data_input import slowed_rates_bps, used_and_place, with_plan
from linkfit.errors import InputError
from linkfit.site.model import Site
from linkfit.site.plan import Plan

SITE = Site(name="camp", timezone="Europe/Lisbon",
            plan=Plan(cap_bytes=60e9, cycle_day=5, throttle_bps=512e3))  # fmt: skip


def test_another_plan_keeps_what_else_the_plan_says():
    assert with_plan(SITE, "100 GB").plan == Plan(cap_bytes=100e9, cycle_day=5, throttle_bps=512e3)
    assert with_plan(SITE, "1 GiB").plan.cap_bytes == 2**30
    assert with_plan(SITE, None) is SITE
    with pytest.raises(InputError, match="--plan: expected a finite number > 0, got 0"):
        with_plan(SITE, "0 GB")


def test_a_day_counts_from_its_noon_and_a_time_in_the_zone_of_the_site():
    used_bytes, place = used_and_place("31 GB", "2026-06-14", SITE)
    assert (used_bytes, place.elapsed_days) == (31e9, 9.5)
    assert used_and_place("31 GB", "2026-06-14T18:00", SITE)[1].elapsed_days == 9.75
    # 23:30 UTC is half past midnight in Lisbon's summer: the next cycle
    place = used_and_place(None, "2026-07-04T23:30+00:00", SITE)[1]
    assert (place.start, place.cycle_days) == (datetime(2026, 7, 5), 31.0)


def test_what_is_missing_or_no_day_is_told():
    assert used_and_place(None, None, SITE) == (None, None)
    with pytest.raises(InputError, match="--on: expected the day on which --used was read"):
        used_and_place("31 GB", None, SITE)
    with pytest.raises(InputError, match=r"--on: expected a day as .* got '31 June'"):
        used_and_place("31 GB", "31 June", SITE)


def test_the_plan_s_own_rate_is_among_those_looked_at():
    rates = slowed_rates_bps(["600 kbit/s", "128 kbit/s"], SITE, ["link.json"])
    assert rates == (128e3, 512e3, 600e3)
    assert slowed_rates_bps(None, SITE, None) == ()
    with pytest.raises(InputError, match="--slowed-to: expected a LINK to slow down, got none"):
        slowed_rates_bps(["1 Mbit/s"], SITE, None)
