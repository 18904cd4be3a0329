import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.link.marginal import FamilyScore, Marginal, Outages


def make_marginal(rates, share_frac=0.0, p_value=None):
    outages = Outages(
        n_outages=1, share_frac=share_frac, mean_s=1, longest_s=1, mean_up_s=9, below_bps=0
    )
    score = FamilyScore(
        name="gamma", parameters=(1.0, 2.0), n_free=2, log_score=-1, standard_error=1
    )
    return Marginal(
        rates_bps=np.array(rates), outages=outages, families=(score,), p_value=p_value, n_seconds=9
    )


@given(st.lists(st.floats(0, 1e9), min_size=2, max_size=30), st.floats(0, 1))
def test_quantiles_do_not_fall_and_outages_come_first(rates, share_frac):
    marginal = make_marginal(sorted(rates), share_frac)
    q = marginal.quantile(np.linspace(0, 1, 50))
    assert (np.diff(q) >= 0).all()
    assert (q[np.linspace(0, 1, 50) < share_frac] == 0).all()


def test_quantiles_between_the_grid_are_linear():
    assert make_marginal([0.0, 10.0, 20.0]).quantile(0.25) == pytest.approx(5.0)
    assert make_marginal([10.0, 20.0], share_frac=0.5).quantile(0.75) == pytest.approx(15.0)


def test_a_family_fits_only_above_five_percent():
    assert make_marginal([1.0, 2.0], p_value=0.05).fits
    assert not make_marginal([1.0, 2.0], p_value=0.04).fits
    assert not make_marginal([1.0, 2.0], p_value=None).fits


def test_bad_quantiles_and_shares_are_refused():
    with pytest.raises(InputError, match=r"rates_bps: expected finite quantiles >= 0"):
        make_marginal([-1.0, 2.0])
    with pytest.raises(InputError, match=r"share_frac: expected a number from 0 to 1, got 1.5"):
        make_marginal([1.0, 2.0], share_frac=1.5)
