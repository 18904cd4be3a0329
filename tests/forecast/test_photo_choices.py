"""Choices of stored pictures: the present one first, smaller never slower, bytes by the law."""

from dataclasses import replace

import pytest

from linkfit.forecast.evaluation import Evaluator
from linkfit.forecast.photo_choices import photo_tables
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.model import Image, Service, Site, SizeLaw, Task
from linkfit.site.photo_sizes import photo_size

PHOTO = Task(name="view", flow="out", size=SizeLaw(median_bytes=300e3, spread=1.6), target_s=3.0,
             per_user_day=20, image=Image(edge_px=1440))  # fmt: skip
NOTE = Task(name="note", flow="out", size=SizeLaw(median_bytes=2e3))
SENT = replace(PHOTO, name="send", flow="in")
SITE = Site(
    name="hut",
    services=(Service(name="s", kind="own", n_users=3, tasks=(PHOTO, NOTE, SENT)),),
)


@pytest.fixture(scope="module")
def link():
    return fit_link(Trace.from_quick_numbers(up_bps=4e6, down_bps=20e6, rtt_s=0.05))


@pytest.fixture(scope="module")
def table(link):
    (found,) = photo_tables(SITE, Evaluator(link, n_probes=60), edges_px=(1200,))
    return found


def test_only_pictures_that_go_out_have_a_table_with_the_present_first(table):
    assert (table.service.name, table.task.name) == ("s", "view")
    assert [choice.present for choice in table.choices] == [True] + [False] * (
        len(table.choices) - 1
    )
    edges = [choice.image.edge_px for choice in table.choices[1:]]
    assert edges == sorted(edges)
    assert set(edges) == {720, 1080, 1200, 1440, 1920, 2560}


def test_bytes_follow_the_law_from_the_sites_own_size(table):
    # its 300 kB at 1440 px stay 300 / 209 of the law's at every size
    ratio = 300e3 / photo_size(PHOTO.image).median_bytes
    for choice in table.choices:
        expected = ratio * photo_size(choice.image).median_bytes
        assert choice.size.median_bytes == pytest.approx(expected, rel=1e-6)


def test_smaller_pictures_are_never_slower_spend_less_and_bear_more_users(table):
    jpegs = sorted((c for c in table.choices if c.image.format == "jpeg"),
                   key=lambda c: c.image.edge_px)  # fmt: skip
    times = [float(c.time.quantile(0.95)) for c in jpegs]
    assert times == sorted(times)
    months = [float(c.month.quantile(0.5)) for c in jpegs]
    assert months == sorted(months)
    users = [c.n_max_users for c in jpegs]
    assert users == sorted(users, reverse=True)


def test_another_quality_is_for_all_but_the_present(link):
    (found,) = photo_tables(SITE, Evaluator(link, n_probes=20), quality=75)
    assert [c.image.quality for c in found.choices][:3] == [80, 75, 75]


def test_a_direction_never_measured_has_no_table():
    down_only = fit_link(Trace.from_quick_numbers(down_bps=20e6, rtt_s=0.05))
    assert photo_tables(SITE, Evaluator(down_only, n_probes=20)) == ()
