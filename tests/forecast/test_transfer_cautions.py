"""What each forecast of a transfer says that it does not know."""

from datetime import UTC, datetime

import numpy as np
import pytest

from linkfit.forecast.draws import Forecast
from linkfit.forecast.transfer_cautions import transfer_cautions
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link


def takes(median_s):
    return Forecast(draws=np.full(10, median_s), unit="s", world=np.zeros(10))


@pytest.fixture(scope="module")
def evening():
    """Twenty minutes from 20:00, without an outage."""
    rates = 5e6 * np.exp(0.2 * np.random.default_rng(1).standard_normal(1200))
    return fit_link(Trace.from_rates(rates, start=datetime(2026, 6, 15, 20, tzinfo=UTC)))


def said(link, median_s=10.0, **more):
    return transfer_cautions(link, takes(median_s), direction="up", **more)


def test_a_short_transfer_on_a_measured_link_needs_none(evening):
    assert said(evening) == ()
    assert said(evening, hour=20.0) == ()


def test_an_assumed_round_trip_is_said_with_its_size(evening):
    (text,) = said(evening, rtt_assumed=True)
    assert "56 ms" in text


def test_longer_than_the_record_it_rests_on_is_said_and_that_no_outage_was_seen(evening):
    longer, outage = said(evening, 7200.0)
    assert longer.startswith("This takes longer than all that was measured (20 min of up link)")
    assert outage.startswith("No outage was seen in 20 min of up link")


def test_outages_that_were_seen_are_counted_without_a_word():
    rates = np.full(1200, 5e6)
    rates[100:130] = 0.0
    link = fit_link(Trace.from_rates(rates))
    assert not any("No outage" in text for text in said(link, 7200.0))


def test_a_transfer_that_never_ends_is_not_compared(evening):
    assert not any("longer" in text for text in said(evening, np.inf))


def test_an_hour_without_measurements_is_named(evening):
    (text,) = said(evening, hour=3.5)
    assert text.startswith("Nothing was measured from 3:00 to 4:00 (UTC)")
    (text,) = said(fit_link(Trace.from_rates(np.full(100, 1e6))), hour=3.5)
    assert text.startswith("No time of day is known")
