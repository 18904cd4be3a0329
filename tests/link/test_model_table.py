import pytest

from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link


def test_a_link_tells_each_direction_and_what_is_missing(rng):
    link = fit_link(Trace.from_rates(rng.lognormal(15, 0.4, 300), direction="up"))
    text = link._repr_html_()
    assert '<th scope="row">rate of a second, link up</th><td>5.0 min in 1 run</td>' in text
    assert '<th scope="row">rate of a second, link down</th><td>never</td>' in text
    assert "not measured: round trips were never measured" in text
    assert "1 sigma" in text


def test_round_trips_have_their_median():
    link = fit_link(Trace.from_quick_numbers(up_bps=5e6, rtt_s=0.055))
    assert "round trip, idle" in link._repr_html_()
    assert " ms</td>" in link._repr_html_()


def test_a_floor_is_said_to_be_one():
    link = fit_link(Trace.from_rates([1e6] * 30, saturating=False))
    assert "at least " in link._repr_html_()
    assert "how much more it carries" in link._repr_html_()


@pytest.mark.parametrize("name", ["_repr_html_"])
def test_showing_changes_nothing(name, rng):
    link = fit_link(Trace.from_rates(rng.lognormal(15, 0.4, 60)))
    assert getattr(link, name)() == getattr(link, name)()
