"""What the path refuses, and what nobody measured."""

import numpy as np
import pytest

from linkfit.forecast.unanswered import refusal, unmeasured_backlog, unmeasured_task
from linkfit.site.model import Backlog, PathLimits, Service, SizeLaw, Task


def task(**changes):
    values = {"name": "look", "flow": "out", "size": SizeLaw(median_bytes=2e5), "target_s": 2.0}
    return Task(**{**values, **changes})


RELAY = PathLimits(entry="relay", body_limit_bytes=100e6)


@pytest.mark.parametrize(
    ("changes", "path", "text"),
    [
        # lognormal, median 130 MB, spread 2.5: P(over 100 MB) = 61 %
        ({"flow": "in", "size": SizeLaw(median_bytes=130e6, spread=2.5)}, RELAY, "61 % of its req"),
        ({"flow": "out", "size": SizeLaw(median_bytes=130e6, spread=2.5)}, RELAY, ""),
        ({"flow": "in", "size": SizeLaw(median_bytes=130e6)}, PathLimits(), ""),
        ({"flow": "in", "size": SizeLaw(median_bytes=130e6), "chunk_bytes": 5e6}, RELAY, ""),
        ({"flow": "in", "size": SizeLaw(median_bytes=130e6), "chunk_bytes": 2e8}, RELAY, "200 MB"),
        ({"flow": "in", "size": SizeLaw(median_bytes=3.5e6, spread=1.6)}, RELAY, ""),
        ({"flow": "in", "size": SizeLaw(median_bytes=130e6)}, RELAY, "100 % of its req"),
    ],
)
def test_the_body_limit_of_a_relay_refuses_what_clients_send_in(changes, path, text):
    got = refusal(task(**changes), path)
    assert got.startswith(text) or text in got
    assert bool(got) == bool(text)


def test_what_nobody_measured_is_never_said_to_fit():
    one = task()
    service = Service(name="s", kind="x", n_users=1, tasks=(one,))
    forecast = unmeasured_task(one, service, PathLimits(), "down")
    assert forecast.unmeasured == "down"
    assert not forecast.meets_target
    assert forecast.prob_within_target is None
    heap = Backlog(name="heap", n_items=3, size=SizeLaw(median_bytes=1e6), flow="in")
    waits = unmeasured_backlog(heap, "down")
    assert waits.binding == "not measured"
    assert np.isinf(waits.days.draws).all()
