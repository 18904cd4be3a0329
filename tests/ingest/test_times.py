from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.ingest.times import TimeKind, tell_time_kind, to_seconds

T0 = 1767225600  # 2026-01-01T00:00:00Z, as date -u +%s says


def seconds(cells, unit=None, zone="UTC"):
    kind = tell_time_kind(cells, unit)
    values = pd.Series(cells, dtype="str" if kind.factor_s is None else None)
    return to_seconds(values, kind, zone)


@pytest.mark.parametrize("cell", [
    "2026-01-01T00:00:00Z", "2026-01-01 00:00:00", "2026-01-01T01:00:00+01:00",
    "2025-12-31T19:00:00-05:00", "2026-01-01T00:00:00.000Z", str(T0), f"{T0}000",
    f"{T0}000000", f"{T0}000000000", f"{T0}.0",
])  # fmt: skip
def test_one_moment_in_many_writings(cell):
    assert_allclose(seconds([cell]), [T0], atol=1e-6)


@given(st.integers(1_000_000_000, 2_000_000_000), st.sampled_from([0, 3, 6, 9]))
def test_the_size_of_an_epoch_number_tells_its_unit(epoch_s, power):
    kind = tell_time_kind([str(epoch_s * 10**power)], None)
    assert kind.is_clock
    assert kind.factor_s == pytest.approx(10.0**-power)


def test_small_numbers_are_seconds_of_a_run_without_clock():
    kind = tell_time_kind(["9.641", "19.641"], None)
    assert (kind.is_clock, kind.factor_s) == (False, 1.0)
    assert tell_time_kind(["9641", "19641"], "ms").factor_s == 1e-3


def test_words_are_no_times_and_one_damaged_cell_does_not_matter():
    assert tell_time_kind(["soon", "later"], None) is None
    kind = tell_time_kind(["2026-01-01T00:00:00Z", "2026-01-01T00:00:01Z", "late"], None)
    assert kind.factor_s is None
    assert tell_time_kind([], None) is None


@pytest.mark.parametrize(("cell", "has_zone"), [
    ("2026-01-01T00:00:00Z", True), ("2026-01-01 00:00:00+02:00", True),
    ("2026-01-01 00:00:00-0200", True), ("2026-01-01 00:00:00", False), ("2026-01-01", False),
])  # fmt: skip
def test_a_zone_is_seen(cell, has_zone):
    assert tell_time_kind([cell], None).has_zone is has_zone


@given(st.datetimes(datetime(2020, 1, 1), datetime(2030, 1, 1)))
def test_local_times_agree_with_the_standard_library(moment):
    zone = ZoneInfo("Europe/Lisbon")
    moment = moment.replace(microsecond=0, fold=0)  # the text cannot say fold; the first is taken
    local = moment.replace(tzinfo=zone)
    there_and_back = datetime.fromtimestamp(local.timestamp(), zone).replace(tzinfo=None)
    if there_and_back != moment:  # an hour that summer time skips
        return
    assert_allclose(seconds([moment.isoformat()], zone="Europe/Lisbon"), [local.timestamp()])


def test_the_hour_that_summer_time_repeats_is_told_by_the_rows_around_it():
    cells = ["2026-10-25 01:30:00", "2026-10-25 02:30:00", "2026-10-25 02:45:00",
             "2026-10-25 02:15:00", "2026-10-25 03:15:00"]  # fmt: skip
    steps_s = np.diff(seconds(cells, zone="Europe/Berlin"))
    assert_allclose(steps_s, [3600.0, 900.0, 1800.0, 3600.0])


def test_a_cell_that_is_no_time_is_not_a_number():
    kind = TimeKind(factor_s=None, is_clock=True)
    assert np.isnan(to_seconds(pd.Series(["soon", None], dtype="str"), kind, "UTC")).all()
