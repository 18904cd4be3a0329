"""The values of a site check themselves."""

from datetime import date

import pytest

from linkfit.errors import InputError
from linkfit.site.model import (
    Background,
    Backlog,
    Cache,
    Image,
    PathLimits,
    Service,
    Site,
    SizeLaw,
    Task,
)

MB = SizeLaw(median_bytes=1e6)


def test_the_mean_of_a_lognormal_size_agrees_with_draws(rng):
    law = SizeLaw(median_bytes=3.5e6, spread=1.6)
    drawn = law.median_bytes * law.spread ** rng.standard_normal(200_000)
    # 5 standard errors
    assert drawn.mean() == pytest.approx(law.mean_bytes, abs=5 * drawn.std() / 200_000**0.5)
    assert SizeLaw(median_bytes=5.0).mean_bytes == 5.0


def test_a_task_of_many_requests_moves_them_all():
    task = Task(name="t", flow="out", size=MB, n_requests=60)
    assert task.mean_bytes == 60e6


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: SizeLaw(median_bytes=0), "median_bytes: expected a finite number > 0, got 0"),
        (lambda: SizeLaw(median_bytes=1, spread=0.5), "spread: expected .* >= 1, got 0.5"),
        (lambda: Image(edge_px=8), "edge_px: expected a whole number >= 16, got 8"),
        (lambda: Image(edge_px=99, quality=101), "quality: expected 1 to 100, got 101"),
        (lambda: Image(edge_px=99, format="png"), "format: expected 'jpeg' or 'webp', got 'png'"),
        (lambda: Image(edge_px=99, role="x"), "role: expected 'photo' or 'thumbnail', got 'x'"),
        (lambda: Cache(scope="all"), "scope: expected 'none' or 'browser' or 'shared', got 'all'"),
        (lambda: Cache(lifetime_s=-1), "lifetime_s: expected a finite number >= 0, got -1"),
        (lambda: Task(name="t", flow="up", size=MB), "flow: expected 'out' .* got 'up'"),
        (lambda: Task(name="t", flow="in", size=MB, target_s=0), "target_s: expected .* got 0"),
        (lambda: Service(name="s", kind="k", n_users=-1, tasks=()), "users: expected .* got -1"),
        (lambda: PathLimits(entry="x"), "entry: expected 'relay' or 'direct', got 'x'"),
        (lambda: PathLimits(same_link_share_frac=2), "same_link_share: expected .* got 2"),
        (lambda: Background(name="b", bytes_per_day=-1), "bytes_per_day: expected .* got -1"),
        (lambda: Backlog(name="b", n_items=0, size=MB), "items: expected a whole number >= 1"),
    ],
)
def test_wrong_values_are_named_and_shown(make, message):
    with pytest.raises(InputError, match=message):
        make()


def test_services_of_one_name_are_refused():
    chat = Service(name="chat", kind="chat", n_users=1, tasks=())
    with pytest.raises(InputError, match="service: expected different names, got 'chat' twice"):
        Site(name="dig", services=(chat, chat))


def test_values_do_not_change():
    backlog = Backlog(name="b", n_items=1, size=MB, deadline=date(2026, 7, 31))
    with pytest.raises(AttributeError, match="cannot assign to field"):
        backlog.n_items = 2
