"""Why a backlog never finishes, in words."""

import math

import numpy as np
import pytest

from linkfit.forecast.constraints import Case
from linkfit.forecast.drain import Cycles
from linkfit.forecast.never import why_never
from linkfit.forecast.shares import Waiting
from linkfit.site.model import Backlog, SizeLaw

N_STEPS = 48


def case(*, rates=1e6, opened=1.0, cap=math.inf, others=0.0, breaks=0.0, **backlog):
    values = {"name": "b", "n_items": 4000, "size": SizeLaw(median_bytes=1e6),
              "per_item_s": 0.0, **backlog}  # fmt: skip
    own = Waiting(
        backlog=Backlog(**values), heap_bytes=np.array([4e9]),
        open_frac=np.full((1, 2 * N_STEPS), opened), wire_factor=np.ones(1),
        counted_factor=np.ones(1), breaks_per_h=np.array([breaks]),
    )  # fmt: skip
    return Case(
        waiting=(own,), world=np.zeros(1, np.int32), up_frac=np.ones((1, 2 * N_STEPS)),
        rate_bps={"up": np.full((1, N_STEPS), rates)}, load_bps={"up": 0.0}, cap_bytes=cap,
        others_bytes=np.array([others]), cycles=Cycles(n_first=N_STEPS, then=(N_STEPS,)),
    )  # fmt: skip


@pytest.mark.parametrize(("edit", "reason"), [
    ({"opened": 0.0}, "have no minute in common"),
    ({"rates": 0.0}, "the link carries nothing in its direction"),
    ({"arrivals_per_day": 12_000.0},
     "new items bring 12.0 GB a day, and all that holds it back leaves it 10.8 GB a day"),
    ({"cap": 1e9, "others": 1e9},
     "services and background use 48.0 GB a cycle and the plan has 1.00 GB: nothing is left"),
    ({"breaks": 3e4, "resumable": False}, "cannot resume and are broken 3e+04 times an hour"),
])  # fmt: skip
def test_the_reason_is_named_with_its_figures(edit, reason):
    one = case(**edit)
    days = one.days()
    assert np.isinf(days).all()
    text = why_never(one, days)
    assert text.startswith("never finishes: ")
    assert reason in text


def test_nothing_is_said_where_it_ends():
    one = case()
    assert why_never(one, one.days()) == ""
