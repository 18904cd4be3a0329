import math

import numpy as np
import pytest

from linkfit.advice.compared_links import NamedLink
from linkfit.advice.comparison import compare_links
from linkfit.errors import InputError
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.file import parse_site

SITE = """
[site]
name = "s"
[[service]]
name = "chat"
kind = "chat"
users = 3
[[backlog]]
name = "photos"
items = 400
size = "3 MB"
flow = "out"
"""


def link(up_bps):
    """Half an hour in which seconds resemble each other long: its futures are drawn fast."""
    waves = np.exp(0.3 * np.sin(np.arange(1800) / 200))
    rates = [Trace.from_rates(up_bps * waves, direction="up"),
             Trace.from_rates(2e7 * waves, direction="down")]  # fmt: skip
    return fit_link(Trace.merge([*rates, Trace.from_quick_numbers(rtt_s=0.05)]))


@pytest.fixture(scope="module")
def found():
    site = parse_site(SITE)
    links = [NamedLink(name="thin", link=link(3e4), site=site, month_cost=10.0),
             NamedLink(name="wide", link=link(2e7), site=site)]  # fmt: skip
    return compare_links(links, n_probes=400)


def test_the_wide_link_changes_the_verdict(found):
    (change,) = found.pairs[0].verdict_changes
    assert (change.service, change.first, change.second) == ("chat", "does not fit", "fits")
    assert [one.n_fit for one in found.standings] == [0, 1]


def test_the_wide_link_serves_better(found):
    first, alike, second = found.pairs[0].chances
    assert second > 0.9
    assert first + alike + second == pytest.approx(1)
    assert found.standings[1].prob_best > 0.9


def test_times_and_backlogs_get_shorter(found):
    (pair,) = found.pairs
    assert all(one.target_value is not None for one in pair.times)
    picture = next(one for one in pair.times if one.name == "send a picture")
    assert picture.p95.value < 0
    assert picture.p95.real
    (photos,) = pair.backlogs
    assert photos.p50.value < 0 or math.isinf(photos.p50.first_value)


def test_a_link_against_itself_differs_in_nothing():
    site = parse_site(SITE)
    links = [NamedLink(name=name, link=link(2e7), site=site) for name in "ab"]
    found = compare_links(links, n_probes=400)
    (pair,) = found.pairs
    assert pair.verdict_changes == ()
    assert not pair.is_real
    assert not any(one.p50.real or one.p95.real for one in pair.times)
    assert pair.chances[0] == pytest.approx(pair.chances[2])


def test_without_a_site_only_rates_are_compared():
    found = compare_links([NamedLink(name=n, link=link(2e6)) for n in "abc"])
    assert found.site is None
    assert [pair.second for pair in found.pairs] == ["b", "c"]
    assert found.pairs[0].times == ()
    assert found.pairs[0].chances is None


@pytest.mark.parametrize(
    ("names", "message"),
    [("a", "expected 2 to 8, got 1"), ("aa", "one name a link, got 'a' twice")],
)
def test_links_that_cannot_be_compared_are_refused(names, message):
    with pytest.raises(InputError, match=message):
        compare_links([NamedLink(name=n, link=link(2e6)) for n in names])


def test_a_site_for_some_links_is_refused():
    links = [NamedLink(name="a", link=link(2e6)),
             NamedLink(name="b", link=link(2e6), site=parse_site(SITE))]  # fmt: skip
    with pytest.raises(InputError, match="a site for every link or for none, got some"):
        compare_links(links)
