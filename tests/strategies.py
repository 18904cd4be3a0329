"""Hypothesis strategies for the values that tests of several packages need."""

import numpy as np
from hypothesis import strategies as st

from linkfit.ingest.trace import Trace

rates_bps = st.one_of(st.just(0.0), st.floats(1e3, 1e9))
directions = st.sampled_from(["up", "down"])


@st.composite
def traces(draw, *, min_samples=1, max_samples=30):
    """A regular series of one direction, outages among the rates."""
    rates = draw(st.lists(rates_bps, min_size=min_samples, max_size=max_samples))
    return Trace.from_rates(
        np.array(rates),
        step_s=draw(st.sampled_from([0.1, 1.0, 60.0])),
        direction=draw(directions),
        saturating=draw(st.booleans()),
        name=draw(st.sampled_from(["ridge", "tent", "spring"])),
    )


@st.composite
def transfer_traces(draw, *, min_transfers=1, max_transfers=20):
    """Real transfers of one direction, one after the other."""
    n = draw(st.integers(min_transfers, max_transfers))
    sizes = draw(st.lists(st.floats(1e2, 1e9), min_size=n, max_size=n))
    durations = draw(st.lists(st.floats(1e-3, 1e4), min_size=n, max_size=n))
    return Trace.from_transfers(sizes, durations, direction=draw(directions))
