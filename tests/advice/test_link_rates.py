import numpy as np
import pytest

from linkfit.advice.link_rates import LinkRates, link_rates
from linkfit.errors import InputError
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link


def test_rates_of_a_link_stand_around_what_was_measured():
    rates_bps = 4e6 * np.exp(0.4 * np.random.default_rng(3).standard_normal(900))
    link = fit_link(Trace.from_rates(rates_bps, direction="up"), seed=0)
    rates = link_rates(link, seed=1)
    assert rates == link_rates(link, seed=1)
    assert 0.5e6 < rates.up_p05_bps < rates.up_p10_bps < rates.up_p50_bps < 8e6
    # never measured: nothing is made up
    assert (rates.down_p05_bps, rates.down_p10_bps, rates.down_p50_bps) == (0, 0, 0)


def test_a_negative_rate_is_refused():
    with pytest.raises(InputError, match=r"up_p10_bps: expected .* got -1"):
        LinkRates(up_p05_bps=0.0, up_p10_bps=-1.0, up_p50_bps=0.0, down_p05_bps=0.0,
                  down_p10_bps=0.0, down_p50_bps=0.0)  # fmt: skip
