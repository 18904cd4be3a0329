import numpy as np
import pytest

import linkfit as lf
from linkfit.ingest.trace import Source, ThroughputSamples, Trace
from linkfit.link.groups import compare_turns, tell_groups_apart

NEAR, FAR = "near.example", "far.example"
TEST_S = 4


def make_trace(tests, n_streams=None, clock=True):
    """One source a test; `tests` are (start_s, peer, rate_bps)."""
    n = len(tests)
    start_s, peers, rates_bps = zip(*tests, strict=True)
    streams = np.ones(n) if n_streams is None else np.array(n_streams)
    step_s = np.arange(TEST_S)
    samples = ThroughputSamples(
        start_s=(np.array(start_s)[:, None] + step_s).ravel(),
        duration_s=np.ones(n * TEST_S),
        bits=np.repeat(rates_bps, TEST_S),
        is_up=np.ones(n * TEST_S),
        saturating=np.ones(n * TEST_S),
        transport=np.ones(n * TEST_S),
        layer=np.zeros(n * TEST_S),
        n_streams=np.repeat(streams, TEST_S),
        source=np.repeat(np.arange(n), TEST_S),
    )
    sources = tuple(Source(name=f"t{i}", format="x", peer=p, has_clock=clock)
                    for i, p in enumerate(peers))  # fmt: skip
    return Trace(sources=sources, throughput=samples)


def link_log_rates(rng, n, phi=0.8, sigma=0.5):
    """Logarithm of a link's rate test after test: it wanders."""
    noise = rng.standard_normal(n) * sigma
    x = np.empty(n)
    x[0] = noise[0]
    for i in range(1, n):
        x[i] = phi * x[i - 1] + np.sqrt(1 - phi**2) * noise[i]
    return 16.0 + x


def in_turns(rng, n, factor=1.0, every_s=120.0):
    """Tests of two servers in turns; the second reaches `factor` of what the link gives."""
    rates_bps = np.exp(link_log_rates(rng, n))
    return [
        (i * every_s, FAR if i % 2 else NEAR, rate * (factor if i % 2 else 1.0))
        for i, rate in enumerate(rates_bps)
    ]


def test_a_slower_server_is_a_lower_bound(rng):
    trace = make_trace(in_turns(rng, 40, factor=0.4))
    changed, (finding,) = tell_groups_apart(trace)
    is_far = trace.throughput.source % 2 == 1
    assert (changed.throughput.saturating == ~is_far).all()
    assert f"up: tests to {FAR} reach" in finding.text
    assert "(20 and 20 runs, 20 pairs of turns): they measure that server" in finding.text
    assert finding.n_samples == 20 * TEST_S
    assert trace.throughput.saturating.all()


def test_equal_servers_and_a_single_one_change_nothing(rng):
    tests = in_turns(rng, 40)
    for trace in (make_trace(tests), make_trace([(t, NEAR, r) for t, _, r in tests])):
        changed, findings = tell_groups_apart(trace)
        assert changed is trace
        assert findings == ()


def test_a_difference_of_ten_percent_is_left_alone(rng):
    trace = make_trace([(i * 60.0, (NEAR, FAR)[i % 2], 1e7 - 1e6 * (i % 2)) for i in range(40)])
    changed, findings = tell_groups_apart(trace)
    assert changed is trace
    assert findings == ()


def test_one_stream_held_back_beside_several(rng):
    tests = [(t, NEAR, r) for t, _, r in in_turns(rng, 40, factor=0.4)]
    changed, (finding,) = tell_groups_apart(make_trace(tests, n_streams=[4, 1] * 20))
    assert (~changed.throughput.saturating).sum() == 20 * TEST_S
    assert "tests with one stream reach" in finding.text
    assert "of those with several streams beside them" in finding.text
    assert "something else than the link holds them back" in finding.text


def test_an_unknown_stream_count_or_peer_differs_from_nothing(rng):
    tests = in_turns(rng, 40, factor=0.4)
    unknown = make_trace([(t, NEAR, r) for t, _, r in tests], n_streams=[4, 0] * 20)
    nameless = make_trace([(t, NEAR if p == NEAR else "", r) for t, p, r in tests])
    for trace in (unknown, nameless):
        changed, findings = tell_groups_apart(trace)
        assert changed is trace
        assert findings == ()


@pytest.mark.parametrize("clock", [True, False])
def test_other_hours_are_no_comparison(rng, clock):
    tests = in_turns(rng, 40, factor=0.3)
    apart = [(t + (12 * 3600.0 if peer == FAR else 0.0), peer, r) for t, peer, r in tests]
    trace = make_trace(apart, clock=clock)
    changed, (finding,) = tell_groups_apart(trace)
    assert changed is trace
    assert "cannot be told apart from the time of day; test in turns, 5 times" in finding.text


def test_few_runs_are_said_to_be_few():
    trace = make_trace([(0.0, NEAR, 1e7), (60.0, FAR, 1e6), (120.0, NEAR, 1.2e7)])
    changed, (finding,) = tell_groups_apart(trace)
    assert changed is trace
    assert "(1 and 2 runs): too few runs to tell whether that is chance" in finding.text


def test_runs_at_the_same_time_share_the_link_and_are_left_out(rng):
    rates = np.exp(link_log_rates(rng, 20))
    tests = [(i * 60.0 + (p == FAR), p, r * (0.3 if p == FAR else 0.7))
             for i, r in enumerate(rates) for p in (NEAR, FAR)]  # fmt: skip
    trace = make_trace(tests)
    changed, _ = tell_groups_apart(trace)
    assert changed is trace


def test_the_fastest_of_three_stays(rng):
    rates = np.exp(link_log_rates(rng, 90))
    factor = {"a": 1.0, "b": 0.5, "c": 0.2}
    tests = [(i * 60.0, "abc"[i % 3], r * factor["abc"[i % 3]]) for i, r in enumerate(rates)]
    changed, findings = tell_groups_apart(make_trace(tests))
    kept = np.unique(changed.throughput.source[changed.throughput.saturating] % 3)
    assert kept.tolist() == [0]
    assert len(findings) == 2


def test_a_turn_counts_once_however_many_runs_it_holds():
    start_s = np.arange(40) * 20.0
    is_second = np.arange(40) >= 20
    seen = compare_turns(start_s, start_s + 10.0, np.where(is_second, 0.0, 1.0), is_second)
    assert seen.n_units == 1
    assert seen.p_value == 1.0
    assert seen.ratio == pytest.approx(np.exp(-1.0))


def test_the_fit_uses_the_faster_group_and_says_so(rng):
    link = lf.fit_link(make_trace(in_turns(rng, 40, factor=0.1)))
    alone = lf.fit_link(make_trace([t for t in in_turns(rng, 40) if t[1] == NEAR]))
    assert link.up.n_tests == alone.up.n_tests == 20
    (text,) = [f.text for f in link.findings if f.kind == "several servers"]
    assert link.missing[0] == text
    assert f"test to {NEAR}" in text


@pytest.mark.slow
@pytest.mark.parametrize("n_in_turn", [1, 4])
def test_false_alarms_are_no_more_than_nominal(n_in_turn):
    """The link wanders, in turns of one and of several tests; both servers give all of it."""
    rng = np.random.default_rng(20260601)
    n_cases, n = 200, 48
    start_s = np.arange(n) * 120.0
    is_second = (np.arange(n) // n_in_turn) % 2 == 1
    seen = [
        compare_turns(start_s, start_s + 10.0, link_log_rates(rng, n), is_second)
        for _ in range(n_cases)
    ]
    n_below = sum(s.p_value < 0.01 for s in seen)
    allowed = 0.01 + 5 * np.sqrt(0.01 * 0.99 / n_cases)
    assert n_below / n_cases <= allowed
    # and the test is not blind: at p < 0.2 some cases are found
    assert any(s.p_value < 0.2 for s in seen)


@pytest.mark.slow
def test_half_the_rate_is_found():
    rng = np.random.default_rng(20260602)
    n_found = sum(
        not tell_groups_apart(make_trace(in_turns(rng, 40, 0.5)))[0].throughput.saturating.all()
        for _ in range(100)
    )
    assert n_found >= 90
