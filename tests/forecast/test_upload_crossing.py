"""Uploads from clients on the same link cross it both ways."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import FitError
from linkfit.forecast.upload_ask import UploadAsk
from linkfit.forecast.upload_crossing import crossing_of, spread_share
from linkfit.link.paths import CapacityPaths

WORLD = (np.arange(40) % 8).astype(np.int32)


def rows(rates_bps):
    return CapacityPaths.from_rates(np.asarray(rates_bps, float), 1.0, WORLD)


def steady(up_bps, down_bps):
    rates = {"up": up_bps, "down": down_bps}
    return lambda way: rows(np.full((40, 6), rates[way]))


def crossed(share, up_bps=2e6, down_bps=8e6, flow="in", **options):
    ask = UploadAsk(size_bytes=1e6, flow=flow, same_link_share_frac=share, **options)
    return crossing_of(ask, steady(up_bps, down_bps))


def test_the_slower_way_sets_the_pace_of_those_on_the_same_link():
    found = crossed(0.25)
    assert found.stays.sum() == 10
    assert_allclose(found.paths.rates_bps[found.stays], 2e6)
    assert_allclose(found.paths.rates_bps[~found.stays], 8e6)
    # four items in turn: 3 at 8 Mbit/s and 1 at 2 take as long as 7 at 8
    assert_allclose(found.in_turn_bps(), 8e6 * 4 / 7)
    out = crossed(0.25, flow="out")  # up is the slower way already
    assert_allclose(out.paths.rates_bps, 2e6)
    assert_allclose(out.in_turn_bps(), 2e6)


def test_nobody_or_everybody_on_the_link():
    assert_allclose(crossed(0.0).paths.rates_bps, 8e6)
    assert not crossed(0.0).stays.any()
    everybody = crossed(1.0)
    assert everybody.stays.all()
    assert_allclose(everybody.paths.rates_bps, 2e6)
    assert_allclose(everybody.in_turn_bps(), 2e6)


def test_the_far_end_s_limit_is_that_of_clients_elsewhere():
    found = crossed(0.5, remote_rate_bps=1e6)
    assert_allclose(found.paths.rates_bps[found.stays], 2e6)
    assert_allclose(found.paths.rates_bps[~found.stays], 1e6)
    assert_allclose(found.in_turn_bps(), 1 / (0.5 / 2e6 + 0.5 / 1e6))


def test_an_outage_of_either_way_stops_those_on_the_same_link():
    up, down = np.full((40, 6), 2e6), np.full((40, 6), 8e6)
    up[:, 2], down[:, 4] = 0.0, 0.0
    ask = UploadAsk(size_bytes=1e6, flow="in", same_link_share_frac=0.5)
    found = crossing_of(ask, lambda way: rows({"up": up, "down": down}[way]))
    dead = found.paths.rates_bps == 0
    assert dead[found.stays].sum(axis=1).tolist() == [2] * 20
    assert dead[~found.stays].sum(axis=1).tolist() == [1] * 20
    assert (found.in_turn_bps() == 0).sum(axis=1).tolist() == [2] * 40  # whoever's turn it is


def test_a_way_back_that_nobody_measured_is_named_and_left_out():
    def draw(way):
        if way == "up":
            raise FitError("up: expected at least one measurement")
        return steady(2e6, 8e6)(way)

    ask = UploadAsk(size_bytes=1e6, flow="in", same_link_share_frac=0.5)
    found = crossing_of(ask, draw)
    assert found.unmeasured == "up"
    assert not found.stays.any()
    assert_allclose(found.paths.rates_bps, 8e6)
    with pytest.raises(FitError, match="up: expected at least one measurement"):
        crossing_of(UploadAsk(size_bytes=1e6, flow="out"), draw)


@settings(max_examples=60)
@given(st.integers(1, 12), st.integers(1, 20), st.floats(0, 1))
def test_a_share_of_rows_spreads_evenly_over_worlds(n_worlds, n_each, share):
    world = (np.arange(n_worlds * n_each) % n_worlds).astype(np.int32)
    chosen = spread_share(world, share)
    assert abs(chosen.sum() - share * world.size) < 1
    each = np.bincount(world, weights=chosen, minlength=n_worlds)
    assert each.max() - each.min() <= 1


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(0, 1e7), min_size=12, max_size=12),
    st.floats(0, 1), st.floats(0, 1), st.sampled_from(["in", "out"]),
)  # fmt: skip
def test_more_clients_on_the_link_never_carry_more(rates, one, other, flow):
    less, more = sorted((one, other))
    up, down = (np.tile(part, (40, 1)) for part in (rates[:6], rates[6:]))

    def draw(way):
        return rows({"up": up, "down": down}[way])

    few, many = (
        crossing_of(UploadAsk(size_bytes=1e6, flow=flow, same_link_share_frac=share), draw)
        for share in (less, more)
    )
    assert many.stays.sum() >= few.stays.sum()
    assert (many.in_turn_bps() <= few.in_turn_bps() * (1 + 1e-9) + 1e-6).all()
    own = {"in": down, "out": up}[flow]
    assert (few.paths.rates_bps <= own + 1e-6).all()
