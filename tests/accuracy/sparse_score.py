"""A few speed tests of ten seconds, drawn from a long trace; transfers at its other times."""

import numpy as np
from measured_links import clocked_s
from score_rows import Scored, coverage, joined, one_link, over_links, ratio_to

import linkfit as lf
from linkfit.forecast.scores import crps
from linkfit.ingest.trace import Source, ThroughputSamples, Trace
from linkfit.link.paths import CapacityPaths

TABLE = "A few speed tests only"
N_TESTS = (1, 3, 10, 30)
SIZES_BYTES = (5e5, 5e6, 5e7)
TEST_S = 10
WIRE_BITS_PER_BYTE = 8 * 1500 / 1448


def drawn_tests(runs, n_tests, rng, *, as_totals):
    """`n_tests` stretches of some ten seconds as a Trace, and which seconds they took."""
    used = np.zeros(runs.rates_bps.size, dtype=bool)
    run = np.repeat(np.arange(runs.n_runs), runs.lengths_s)
    time_s = clocked_s(runs)
    starts, rates, lengths = [], [], []
    for _ in range(200 * n_tests):
        low = int(rng.integers(used.size))
        first, end = runs.first[run[low]], runs.first[run[low] + 1]
        low = max(min(low, end - TEST_S), first)
        seconds = np.arange(low, min(low + TEST_S, end))
        if used[seconds].any():
            continue
        used[seconds] = True
        if as_totals:
            starts.append(time_s[seconds[:1]])
            rates.append(runs.rates_bps[seconds].mean(keepdims=True))
            lengths.append(np.array([float(seconds.size)]))
        else:
            starts.append(time_s[seconds])
            rates.append(runs.rates_bps[seconds])
            lengths.append(np.ones(seconds.size))
        if len(starts) == n_tests:
            break
    start_s, rates_bps, duration_s = (np.concatenate(v) for v in (starts, rates, lengths))
    n = start_s.size
    samples = ThroughputSamples(
        start_s=start_s, duration_s=duration_s, bits=rates_bps * duration_s, is_up=np.ones(n),
        saturating=np.ones(n), transport=np.zeros(n), layer=np.ones(n), n_streams=np.ones(n),
        source=np.zeros(n),
    )  # fmt: skip
    return Trace(sources=(Source(name="tests", format="rates"),), throughput=samples), used


def scored_tests(link, n_tests, rng, *, n_transfers=40, n_draws=1000):
    """Scored transfers of every size at times outside the tests; None if none of them ends."""
    trace, used = drawn_tests(link.runs, n_tests, rng, as_totals=bool(rng.integers(2)))
    model = lf.fit_link(trace)
    truth = CapacityPaths.from_rates(link.runs.rates_bps)
    mean_bps = trace.throughput.bits.sum() / trace.throughput.duration_s.sum()
    parts = []
    for size in SIZES_BYTES:
        starts_s = rng.uniform(0, truth.horizon_s, 4 * n_transfers)
        starts_s = np.sort(starts_s[~used[starts_s.astype(int)]][:n_transfers])
        bits = size * WIRE_BITS_PER_BYTE
        took_s = truth.time_at_bits_s(truth.carried_bits(starts_s) + bits) - starts_s
        took_s = took_s[took_s <= truth.horizon_s]
        if not took_s.size or mean_bps <= 0:
            continue
        draws = lf.predict_transfer(
            model, size_bytes=size, direction="up", n_draws=n_draws, seed=int(rng.integers(2**31))
        ).draws
        low, high = np.quantile(draws, (0.05, 0.95))
        scores = {
            "model": crps(draws, took_s),
            "size over mean rate": abs(bits / mean_bps - took_s),
        }
        parts.append(Scored((took_s >= low) & (took_s <= high), scores))
    return joined(parts) if parts else None


def rows(links, *, n_tests=N_TESTS, n_repeats=12, **options):
    """Each link and number of tests, then all links."""
    table = []
    for k in n_tests:
        of_links = []
        for index, link in enumerate(links):
            repeats = max(n_repeats // (1 if k < 10 else 2), 1)
            rngs = [np.random.default_rng([k, index, i]) for i in range(repeats)]
            found = [scored_tests(link, k, rng, **options) for rng in rngs]
            scored = joined([one for one in found if one is not None])
            of_links.append(scored)
            label = f"{link.name}, {_tests(k)}"
            table.append(one_link(TABLE, label, "90 % interval covers", scored, coverage))
        table += [
            over_links(TABLE, "90 % interval covers", of_links, coverage, np.mean,
                       name=f"all, {_tests(k)}", bar_low=0.85, bar_high=0.97),
            over_links(TABLE, "CRPS / size over mean rate", of_links,
                       ratio_to("size over mean rate"), np.median, name=f"all, {_tests(k)}"),
        ]  # fmt: skip
    return table


def _tests(k):
    return f"{k} test{'s' if k > 1 else ''}"
