from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.ingest.trace import Trace
from linkfit.link.measured_cells import measured_cells

DAY = datetime(2026, 6, 15, tzinfo=UTC)


def a_run(hour, rate_bps, *, day=0, n=4, saturating=True):
    start = DAY + timedelta(days=day, hours=hour)
    return Trace.from_rates(np.full(n, rate_bps), start=start, saturating=saturating)


def test_tests_of_one_part_of_one_day_are_one_cell():
    found = measured_cells(Trace.merge([a_run(7, 4e6), a_run(9, 8e6), a_run(13, 6e6)]), "up")
    assert [(c.day, c.part, c.rate_bps, c.n_tests) for c in found.cells] == [
        ("2026-06-15", 1, 6e6, 2), ("2026-06-15", 2, 6e6, 1),
    ]  # fmt: skip
    assert [found.n_by_hour[hour] for hour in (7, 9, 13)] == [1, 1, 1]
    assert (found.n_in_part(1), found.n_in_part(0)) == (1, 0)


def test_parts_are_those_of_the_clock_on_the_wall():
    trace = a_run(5.5, 4e6)
    assert measured_cells(trace, "up").cells[0].part == 0
    assert measured_cells(trace, "up", timezone="Europe/Lisbon").cells[0].part == 1  # UTC+1


def test_what_did_not_try_and_what_has_no_clock_tell_nothing():
    without = Trace.from_rates(np.full(4, 1e6))
    passive = a_run(8, 1e6, saturating=False)
    found = measured_cells(Trace.merge([a_run(7, 4e6), without, passive]), "up")
    assert found.rates_bps.tolist() == [4e6]
    assert measured_cells(without, "up").cells == ()
    assert measured_cells(a_run(7, 4e6), "down").cells == ()
    assert measured_cells(Trace(), "up").cells == ()


def test_a_cell_without_a_bit_is_an_outage():
    found = measured_cells(Trace.merge([a_run(7, 4e6), a_run(13, 0.0)]), "up")
    assert (found.n_outages, found.rates_bps.tolist()) == (1, [4e6])


def test_real_transfers_where_there_is_no_test():
    trace = Trace.from_transfers([1e6, 3e6], [1.0, 3.0], starts=[DAY, DAY + timedelta(hours=1)])
    (cell,) = measured_cells(trace, "up").cells
    assert (cell.rate_bps, cell.n_tests) == (8e6, 2)


def test_streams_are_compared():
    from dataclasses import replace

    def streams(trace, n):
        samples = replace(trace.throughput, n_streams=np.full(len(trace.throughput), n))
        return replace(trace, throughput=samples)

    one, four = streams(a_run(7, 4e6), 1), streams(a_run(8, 5e6), 4)
    assert measured_cells(Trace.merge([one, four]), "up").single_share_frac == pytest.approx(0.8)
    assert measured_cells(one, "up").single_share_frac is None


def test_a_direction_that_is_none():
    with pytest.raises(InputError, match="direction: expected 'up' or 'down', got 'out'"):
        measured_cells(Trace(), "out")


def test_a_record_of_days_is_a_test_an_hour_and_short_ones_stay_whole():
    start = datetime(2026, 6, 1, 22, 30, tzinfo=UTC)
    long = Trace.from_rates(np.full(1560, 5e6), step_s=60.0, direction="up", start=start)  # 26 h
    found = measured_cells(long, "up")
    assert [(cell.day[-2:], cell.part, cell.n_tests) for cell in found.cells] == [
        ("01", 3, 2), ("02", 0, 6), ("02", 1, 6), ("02", 2, 6), ("02", 3, 6), ("03", 0, 1),
    ]  # fmt: skip
    assert sum(found.n_by_hour) == 27
    over = datetime(2026, 6, 1, 5, 55, tzinfo=UTC)
    short = Trace.from_rates(np.full(600, 5e6), direction="up", start=over)  # across 6 o'clock
    assert [cell.n_tests for cell in measured_cells(short, "up").cells] == [1]
