"""The record on its own clock."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.link.gaps import SESSION_GAP_S, filled, sessions
from linkfit.link.series import MeasuredRuns

START_S = 1_780_272_000.0


def record(lengths, gaps, rates=None, *, clock=True):
    """Runs of `lengths` with `gaps` between them; rates 1, 2, 3 ... if not given."""
    lengths, gaps = np.array(lengths), np.array(gaps, dtype=float)
    start = START_S + np.concatenate(([0.0], np.cumsum(lengths[:-1] + gaps)))
    n = int(lengths.sum())
    return MeasuredRuns(
        rates_bps=np.arange(1.0, n + 1) if rates is None else np.asarray(rates, float),
        first=np.concatenate(([0], np.cumsum(lengths))),
        start_s=start if clock else np.full(lengths.size, np.nan),
    )


def fill(runs, outage_bps=0.0):
    return filled(runs.rates_bps, runs, outage_bps)


def test_a_gap_by_hand():
    # 1 2 3, a gap of 5, 4 5 6: two seconds back from 3, three forward to 4
    rates, first, position = fill(record([3, 3], [5]))
    assert rates.tolist() == [1, 2, 3, 3, 2, 6, 5, 4, 4, 5, 6]
    assert first.tolist() == [0, 11]
    assert position.tolist() == [0, 1, 2, 8, 9, 10]


def test_a_long_gap_turns_at_the_ends_of_the_session():
    rates, _, _ = fill(record([2, 2], [12]))
    # six back from 2, turning at the session's start, and six that lead up to 3
    assert rates[2:8].tolist() == [2, 1, 1, 2, 2, 1]
    assert rates[8:14].tolist() == [4, 3, 3, 4, 4, 3]


def test_an_outage_beside_a_gap_is_not_repeated():
    rates, _, _ = fill(record([4, 4], [6], [5, 6, 7, 0, 0, 8, 9, 5]))
    assert rates.tolist() == [5, 6, 7, 0, 7, 6, 5, 5, 9, 8, 0, 8, 9, 5]
    assert int((rates == 0).sum()) == 2


def test_an_outage_and_nothing_else_still_fills():
    rates, _, _ = fill(record([2, 2], [4], np.zeros(4)))
    assert rates.tolist() == [0.0] * 8


def test_far_runs_and_runs_without_clock_stand_alone():
    far = record([3, 3], [SESSION_GAP_S + 1])
    rates, first, position = fill(far)
    assert rates.tolist() == far.rates_bps.tolist()
    assert first.tolist() == [0, 3, 6]
    assert position.tolist() == list(range(6))
    assert fill(record([3, 3], [5], clock=False))[1].tolist() == [0, 3, 6]


lengths = st.lists(st.integers(1, 40), min_size=1, max_size=8)


@given(lengths, st.data())
def test_every_measured_second_stands_at_its_own_time(sizes, data):
    gap = st.integers(0, 500)
    gaps = data.draw(st.lists(gap, min_size=len(sizes) - 1, max_size=len(sizes) - 1))
    rates = data.draw(st.lists(st.integers(0, 3), min_size=sum(sizes), max_size=sum(sizes)))
    runs = record(sizes, gaps, rates)
    out, first, position = fill(runs)
    assert (out[position] == runs.rates_bps).all()
    assert first[0] == 0
    assert first[-1] == out.size
    edges = sessions(runs)
    assert first.size == edges.size
    for low, high, begin, end in zip(edges[:-1], edges[1:], first[:-1], first[1:], strict=True):
        run = np.flatnonzero((runs.first[:-1] >= low) & (runs.first[:-1] < high))
        spans_s = runs.start_s[run[-1]] + runs.lengths_s[run[-1]] - runs.start_s[run[0]]
        assert end - begin == spans_s
        # what fills a session was measured in it
        assert set(out[begin:end]) <= set(runs.rates_bps[low:high])


def test_averages_over_minutes_vary_as_the_clock_has_it():
    # a level that changes each ten minutes, seen for 15 s of every minute
    rng = np.random.default_rng(4)
    level = 5e6 * np.exp(0.5 * rng.standard_normal(60))
    rates = np.repeat(level, 10 * 15) * np.exp(0.1 * rng.standard_normal(9000))
    runs = record([15] * 600, [45] * 599, rates)
    out, _, _ = fill(runs)
    assert out.size == 600 * 60 - 45
    ours = np.add.reduceat(out[:35_700], np.arange(0, 35_700, 300)) / 300
    squeezed = np.add.reduceat(rates, np.arange(0, 9000, 300)) / 300
    assert ours.std() == pytest.approx(level.std(), rel=0.15)
    assert squeezed.std() < 0.8 * level.std()


def test_futures_pass_gaps_by_the_clock(rng):
    # half an hour of which 20 s of each minute were seen: futures keep the record's mean
    traces = [
        Trace.from_rates(
            5e6 * np.exp(0.3 * rng.standard_normal(20)), direction="up", layer="ip",
            start=datetime(2026, 6, 1, 8, tzinfo=UTC) + timedelta(minutes=k),
        )
        for k in range(30)
    ]  # fmt: skip
    link = fit_link(Trace.merge(traces))
    paths = link.paths("up", horizon_s=600, n_draws=400, rng=rng)
    assert paths.rates_bps.mean() == pytest.approx(link.up.mean_rate_bps, rel=0.1)
