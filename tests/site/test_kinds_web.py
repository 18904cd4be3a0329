"""Web site, web app, chat."""

import pytest

from linkfit.site.kinds_web import CHAT, WEB_APP, WEB_SITE


def test_a_typical_public_page_is_that_of_the_2024_almanac():
    # HTTP Archive Web Almanac 2024, Page Weight: median mobile page 2311 kB in 66 requests
    page = WEB_SITE.task("typical public page")
    assert page.n_requests == 66
    assert page.n_requests * page.size.median_bytes == pytest.approx(2311e3, rel=0.01)


def test_page_totals_are_those_of_common_practice():
    first, app = WEB_SITE.task("first view"), WEB_APP.task("open the app")
    assert first.n_requests * first.size.median_bytes == pytest.approx(200e3)
    assert app.n_requests * app.size.median_bytes == pytest.approx(800e3)


def test_static_pages_may_be_shared_and_apps_may_not():
    assert {task.cache.scope for task in WEB_SITE.tasks} == {"shared"}
    assert WEB_APP.task("open the app").cache.scope == "browser"
    assert WEB_APP.task("act in the app").cache.scope == "none"


def test_chat_uses_a_standing_connection_both_ways():
    assert {task.flow for task in CHAT.tasks} == {"both"}
    assert not any(task.fresh_connection for task in CHAT.tasks)
    assert not CHAT.task("hold the line open").must_carry
