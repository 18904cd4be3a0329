"""Percentiles and jitter against RFC 2330 and RFC 3550."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.ingest.distribution import interarrival_jitter_s, percentile


def edf(values, limit):
    """Share of `values` that are at most `limit`: F(x) of RFC 2330 section 11.3."""
    return np.mean(np.asarray(values) <= limit)


SIX = [-2, 7, 7, 4, 18, -5]  # RFC 2330 section 11.3


@pytest.mark.parametrize(("limit", "share"), [
    (-8, 0), (-5, 1 / 6), (-5.0001, 0), (-4.999, 1 / 6), (7, 5 / 6), (18, 1), (239, 1),
])  # fmt: skip
def test_the_empirical_distribution_of_rfc_2330(limit, share):
    assert edf(SIX, limit) == pytest.approx(share)
    # and its inverse: no sample above the limit is reached with that share
    assert percentile(SIX, share) <= limit


@pytest.mark.parametrize(("share", "value"), [(0.5, 4), (0.25, -2), (1.0, 18), (0.0, -np.inf)])
def test_the_percentiles_of_rfc_2330(share, value):
    assert percentile(SIX, share) == value


def test_the_fifteenth_percentile_follows_the_definition_not_the_misprint():
    # the text of RFC 2330 says minus infinity, but F(-5) = 1/6 >= 0.15
    assert percentile(SIX, 0.15) == -5


def test_lost_probes_count_as_infinite_delay():
    # RFC 2681 section 2 (value from memory): a lost packet's delay is undefined, in effect infinite
    delays_s = [0.05] * 9 + [np.inf]
    assert percentile(delays_s, 0.9) == 0.05
    assert percentile(delays_s, 0.95) == np.inf


@given(st.lists(st.integers(-50, 50), min_size=1, max_size=40), st.integers(1, 100))
def test_percentiles_agree_with_numpys_inverted_distribution(values, percent):
    expected = np.percentile(values, percent, method="inverted_cdf")
    assert percentile(values, percent / 100) == expected


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40), st.floats(0.01, 1.0))
def test_a_percentile_is_the_least_value_that_reaches_its_share(values, share):
    x = percentile(values, share)
    assert edf(values, x) >= share * (1 - 1e-12)
    lower = [v for v in values if v < x]
    assert not lower or edf(values, max(lower)) < share


@pytest.mark.parametrize(("values", "text"), [([], "got none"), ([1.0, np.nan], "got NaN")])
def test_nothing_and_not_a_number_have_no_percentile(values, text):
    with pytest.raises(InputError, match=text):
        percentile(values, 0.5)


def test_a_share_is_no_percent():
    with pytest.raises(InputError, match="share_frac: expected a number from 0 to 1, got 50"):
        percentile([1.0], 50)


@pytest.mark.parametrize(("n", "jitter"), [(1, 1.0), (2, 1.9375), (10, 7.6086), (16, 10.3028)])
def test_jitter_of_a_constant_difference_by_hand(n, jitter):
    # RFC 3550 section 6.4.1 with |D| = 16: J = 16 (1 - (15/16)^n)
    delays_s = np.tile([0.0, 16.0], n)[: n + 1]
    assert interarrival_jitter_s(delays_s) == pytest.approx(jitter, abs=5e-5)


def test_a_steady_delay_has_no_jitter_and_one_packet_none():
    assert interarrival_jitter_s([0.05] * 20) == 0.0
    assert interarrival_jitter_s([0.05]) == 0.0
    with pytest.raises(InputError, match="leave losses out"):
        interarrival_jitter_s([0.05, np.inf])


def test_jitter_smooths_the_delay_variation():
    # RFC 3393 section 2 (value from memory): D(i) - D(i-1) of 50, 60, 55, 90 is 10, -5, 35
    smoothed = 0.0
    for variation in (10, 5, 35):
        smoothed += (variation - smoothed) / 16
    assert interarrival_jitter_s([50, 60, 55, 90]) == pytest.approx(smoothed)
