import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.ingest.notes import Notes
from linkfit.ingest.trace import Trace
from linkfit.ingest.traps import find_traps, gap_lengths_s, ignored_column_traps, plateau_bps


def traps(trace):
    notes = Notes("f")
    find_traps(trace, notes)
    return {finding.kind: finding.n_samples for finding in notes.findings}


def clean(rng, n=400, cov=0.35):
    sigma = np.sqrt(np.log1p(cov**2))
    return 8e6 * np.exp(rng.normal(0, sigma, n))


@pytest.mark.parametrize("cov", [0.2, 0.35, 0.6])
def test_a_clean_saturating_series_raises_no_finding(rng, cov):
    assert traps(Trace.from_rates(clean(rng, cov=cov))) == {}


def test_a_gap_is_a_hole_longer_than_a_sample():
    start_s = np.array([0.0, 1.0, 3.0, 10.0, 11.4])
    assert_allclose(gap_lengths_s(start_s, np.ones(5)), [6.0])
    assert gap_lengths_s(start_s[:1], np.ones(1)).size == 0


def test_zero_beside_twice_the_rate_is_a_reading_too_late(rng):
    rates = np.full(100, 4e6) * rng.uniform(0.98, 1.02, 100)
    rates[30:32] = 0.0, 8e6
    rates[60:62] = 8e6, 0.0
    rates[80] = 0.0  # a true outage
    assert traps(Trace.from_rates(rates))["polling: up"] == 2


def test_lone_zeros_of_short_samples_are_write_sizes(rng):
    rates = np.where(np.arange(200) % 2, 8e6, 0.0)
    assert "granular: down" in traps(Trace.from_rates(rates, step_s=0.1, direction="down"))
    assert "granular: up" not in traps(Trace.from_rates(clean(rng), step_s=0.1))


def test_an_offered_rate_shows_as_a_plateau(rng):
    rates = np.concatenate((np.full(300, 54.2e6) * rng.uniform(0.995, 1.005, 300), clean(rng)))
    level, n_at_level = plateau_bps(rates)
    assert level == pytest.approx(54.2e6, rel=0.01)
    assert n_at_level >= 300


def test_a_mostly_idle_series_looks_passive(rng):
    rates = np.full(500, 2e4)
    rates[::20] = 5e7 * rng.uniform(0.5, 1.0, 25)
    assert "looks passive: up" in traps(Trace.from_rates(rates))
    assert "looks passive: up" not in traps(Trace.from_rates(rates, saturating=False))


def test_slow_first_seconds_of_runs_are_seen(rng):
    runs = []
    for run in range(12):
        rates = clean(rng, 10)
        rates[0] = 1e6
        runs.append(Trace.from_rates(rates))
        runs[-1].throughput.start_s.flags.writeable = True
        runs[-1].throughput.start_s[:] += 100.0 * run
    found = traps(Trace.merge(runs))
    assert found["slow first sample: up"] == 12
    assert found["gaps"] == 11


def test_transfers_at_uneven_times_may_have_been_chosen(rng):
    def sent(starts_s):
        trace = Trace.from_transfers(np.full(40, 1e6), rng.uniform(0.5, 3.0, 40))
        trace.transfers.start_s.flags.writeable = True
        trace.transfers.start_s[:] = starts_s
        return traps(trace)

    assert "uneven starts" in sent(np.cumsum(5 + rng.exponential(20, 40)))
    assert "uneven starts" not in sent(10.0 * np.arange(40))


def test_columns_that_are_not_read_are_listed_and_may_say_a_limit():
    notes = Notes("f")
    names = ["up_bps", "rsrq", "downstream_bandwidth", "note"]
    ignored_column_traps(names, [["1", "-110", "5M", "a"], ["1", "-90", "5M", "b"]], {0}, notes)
    found = {f.kind: f.text for f in notes.findings}
    assert found["columns not read"] == "3 columns not read: rsrq, downstream_bandwidth, note"
    assert "'5M' in every row" in found["limit stated"]
    assert "tenths of dB" in found


def test_the_signal_in_whole_decibels_is_no_trap():
    notes = Notes("f")
    ignored_column_traps(["up_bps", "rsrq"], [["1", "-11"]], {0}, notes)
    assert [f.kind for f in notes.findings] == ["columns not read"]
