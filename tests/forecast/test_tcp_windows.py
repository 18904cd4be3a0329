"""Congestion windows round by round, against the RFCs' own words worked out by hand."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.forecast.tcp_windows import Round, WindowControl

RTT_S = 0.1


def control(*, is_cubic, n=1, flows=1, most=np.inf):
    return WindowControl(shape=(n, flows), is_cubic=is_cubic, first_packets=10, most_packets=most)


def go(windows, *, start_s=0.0, hurt=False, before=None, wait_s=0.0, gap_s=0.01, asked=np.inf):
    sent = np.minimum(np.floor(windows.window), asked)
    windows.learn(
        Round(
            start_s=np.full(len(sent), start_s), next_s=np.full(len(sent), start_s + RTT_S),
            rtt_s=np.full(len(sent), RTT_S), early_wait_s=np.full(len(sent), wait_s),
            span_s=np.full(len(sent), 0.02), gap_s=np.full(len(sent), gap_s),
            sent=sent, before=sent if before is None else np.full(sent.shape, before),
            hurt=np.full(sent.shape, hurt), limited=np.full(len(sent), np.isfinite(asked)),
        )
    )  # fmt: skip
    return windows.window[0, 0]


@pytest.mark.parametrize("is_cubic", [True, False])
def test_slow_start_doubles(is_cubic):
    windows = control(is_cubic=is_cubic)
    assert [go(windows) for _ in range(3)] == [20, 40, 80]


@pytest.mark.parametrize(("is_cubic", "expected"), [(False, 7), (True, 10)])
def test_a_loss_cuts_what_had_grown_until_then(is_cubic, expected):
    # 5 answers before the loss: the window had grown from 10 to 15 packets; Reno halves it
    # (RFC 5681 section 3.1), CUBIC keeps 0.7 (RFC 9438 section 4.6); whole packets
    windows = control(is_cubic=is_cubic)
    assert go(windows, hurt=True, before=5.0) == expected
    assert windows.threshold[0, 0] == expected


def test_reno_gains_one_packet_a_round_after_recovery():
    windows = control(is_cubic=False)
    go(windows)
    go(windows, hurt=True)
    after = windows.window[0, 0]
    assert [go(windows) for _ in range(3)] == [after, after + 1, after + 2]


def test_cubic_comes_back_to_the_old_ceiling_after_its_period():
    # RFC 9438 section 4.2: K = cbrt(W_max (1 - 0.7) / 0.4); at time K the window is W_max again
    windows = control(is_cubic=True)
    windows.window[:], windows.threshold[:] = 1000.0, 1000.0
    go(windows, hurt=True)
    assert windows.window[0, 0] == 700
    go(windows, start_s=0.0)  # the round of recovery
    period_s = np.cbrt(1000 * 0.3 / 0.4)
    for start_s in np.arange(0.0, period_s, RTT_S):
        assert go(windows, start_s=start_s) <= 1001
    assert windows.window[0, 0] == pytest.approx(1000, rel=0.01)
    for start_s in np.arange(period_s, period_s + 3, RTT_S):
        go(windows, start_s=start_s)
    assert windows.window[0, 0] > 1005


def test_cubic_lowers_the_ceiling_of_a_flow_that_loses_ground():
    # fast convergence, RFC 9438 section 4.7: W_max = cwnd (1 + 0.7) / 2
    windows = control(is_cubic=True)
    windows.window[:], windows.threshold[:] = 1000.0, 1000.0
    go(windows, hurt=True)
    assert windows.ceiling[0, 0] == 1000
    go(windows, hurt=True)
    assert windows.ceiling[0, 0] == pytest.approx(700 * 0.85)


def test_cubic_grows_like_reno_where_that_is_faster():
    # RFC 9438 section 4.3: a short round trip and a small window: 0.529 packets a round
    windows = control(is_cubic=True)
    windows.window[:], windows.threshold[:] = 20.0, 20.0
    go(windows, hurt=True)
    go(windows)
    steps = np.diff([go(windows, start_s=0.001 * i) for i in range(6)])
    assert_allclose(steps[1:], 3 * 0.3 / 1.7, rtol=0.05)  # whole packets of the window are used


def test_delay_ends_slow_start_of_cubic_only():
    # 12.5 ms is an eighth of the round trip
    cubic, reno = control(is_cubic=True), control(is_cubic=False)
    for windows in (cubic, reno):
        go(windows)
    assert go(cubic, wait_s=0.013) == 28  # eight packets later
    assert go(reno, wait_s=0.013) == 40
    calm = control(is_cubic=True)
    go(calm)
    assert go(calm, wait_s=0.012) == 40


def test_a_timeout_restarts_with_one_packet():
    # RFC 5681 section 3.1
    windows = control(is_cubic=False, n=2)
    windows.window[:] = 40.0
    windows.restart(np.array([True, False]), np.array([True, False]), 1.0)
    assert_allclose(windows.window[:, 0], [1, 40])
    assert_allclose(windows.threshold[:, 0], [20, np.inf])


def test_the_receiver_limits_the_window():
    windows = control(is_cubic=True, most=44)
    assert [go(windows) for _ in range(4)] == [20, 40, 44, 44]


def test_a_plan_is_whole_packets_clocked_by_the_last_answers():
    windows = control(is_cubic=False)
    windows.window[:] = 12.7
    send, last_s = windows.plan(
        np.array([1.0]), np.array([1.1]), np.array([1.04]), np.array([[100.0]])
    )
    assert send[0, 0] == 12
    assert 1.03 < last_s[0] <= 1.04
    send, last_s = windows.plan(
        np.array([1.0]), np.array([1.1]), np.array([1.04]), np.array([[3.0]])
    )
    assert send[0, 0] == 3
    assert_allclose(last_s, 1.0 + 0.04 * 3 / 12.7)


def test_take_keeps_the_chosen():
    windows = control(is_cubic=True, n=3)
    windows.window[:, 0] = [1, 2, 3]
    windows.take(np.array([False, True, True]))
    assert_allclose(windows.window[:, 0], [2, 3])
    assert windows.recovering.shape == (2, 1)


def test_a_window_less_than_half_used_is_not_grown():
    windows = control(is_cubic=False)
    assert [go(windows, asked=n) for n in (4, 5, 7)] == [10, 15, 15]


@pytest.mark.parametrize(
    ("idle_s", "expected"),
    # RFC 2861 section 2.1: half for each timeout of 0.3 s, never below the first window
    [(0.29, 80), (0.31, 40), (0.61, 20), (0.91, 10), (30.0, 10)],
)
def test_an_idle_time_halves_the_window_for_each_timeout(idle_s, expected):
    windows = control(is_cubic=False)
    [go(windows) for _ in range(3)]
    windows.rest(np.array([idle_s]), np.array([0.3]), 10)
    assert windows.window[0, 0] == expected


def test_after_an_idle_time_slow_start_leads_back_to_three_quarters():
    windows = control(is_cubic=False)
    windows.window[:], windows.threshold[:] = 80.0, 20.0
    windows.rest(np.array([10.0]), np.array([0.3]), 10)
    assert windows.window[0, 0] == 10
    assert windows.threshold[0, 0] == 60
    assert [go(windows) for _ in range(4)] == [20, 40, 80, 81]


# RFC 9438 section 5.1, table 1: round trip 0.1 s, one packet in 1 / p lost, whole windows
@pytest.mark.slow
@pytest.mark.parametrize(
    ("is_cubic", "loss_frac", "expected"),
    [
        (False, 1e-2, 12), (False, 1e-3, 38), (False, 1e-4, 120),
        (True, 1e-2, 12), (True, 1e-3, 38), (True, 1e-4, 187), (True, 1e-5, 1054),
    ],
)  # fmt: skip
def test_mean_windows_of_rfc_9438(is_cubic, loss_frac, expected):
    windows = control(is_cubic=is_cubic)
    windows.window[:] = windows.threshold[:] = float(expected)
    total, n_rounds, to_loss, start_s = 0.0, 0, 1 / loss_frac, 0.0
    n_losses = 0
    while n_losses < 60:
        sent = np.floor(windows.window[0, 0])
        hurt = sent >= to_loss and not windows.recovering[0, 0]
        go(windows, start_s=start_s, hurt=hurt, before=min(to_loss, sent) if hurt else None)
        to_loss += 1 / loss_frac * hurt - sent
        n_losses, start_s = n_losses + hurt, start_s + RTT_S
        if n_losses >= 10:
            total, n_rounds = total + sent, n_rounds + 1
    # whole packets, the round of repair and fast convergence, none of them in the table, take up
    # to a fifth: 9.7 packets for 12, 155 for 187
    assert 0.8 * expected < total / n_rounds < 1.05 * expected
