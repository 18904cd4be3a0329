import io

import numpy as np
import pytest
from rich.console import Console

from linkfit.forecast.upload_ask import UploadAsk
from linkfit.forecast.uploads import forecast_uploads
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.uploads_text import uploads_text


@pytest.fixture(scope="module")
def link():
    rates = np.random.default_rng(4).lognormal(np.log(6e6), 0.4, 600)
    return fit_link(Trace.from_rates(rates, direction="up"), seed=0)


def shown(link, width, **asked):
    out = io.StringIO()
    forecast = forecast_uploads(link, UploadAsk(**asked), seed=0, n_rows=20, n_draws=40)
    parts = uploads_text(forecast)
    Console(file=out, width=width, markup=False).print(*parts, sep="\n")
    return " ".join(out.getvalue().split())


@pytest.mark.parametrize("width", [80, 40])
def test_all_three_questions_are_answered_at_any_width(link, width):
    text = shown(link, width, size_bytes=2e9, n_items=40, drops_per_day=8.0, total_timeout_s=300.0)
    assert text.startswith("40 items of 2.00 GB out (the server sends: link up)")
    assert "gets through without starting again: " in text
    # three of a kind in ten minutes would have been seen, 19 times out of 20
    assert "none seen in the 10 min measured, which leaves up to 432 a day possible" in text
    assert "8 drops a day" in text
    assert "Send pieces of " in text
    assert "Best at once: 1" in text
    assert "Set a total timeout of at least" in text
    assert "pass within the total timeout of 5.0 min" in text


def test_what_the_path_refuses_is_said_first(link):
    text = shown(link, 80, size_bytes=2e9, n_items=1, body_limit_bytes=1e8)
    assert "This path cannot carry files over 100 MB in one request" in text
    assert "2.00 GB refused never (whole)" in text
    assert "Best at once" not in text


def test_small_items_are_sent_whole(link):
    text = shown(link, 80, size_bytes=5e4, n_items=100, per_item_s=0.5)
    assert "Pieces gain nothing for items of this size: send each whole." in text
    assert "a second (" in text
    assert "No drops besides outages were stated" in text


def test_what_never_gets_through_says_so(link):
    text = shown(link, 80, size_bytes=2e9, n_items=1, total_timeout_s=60.0, whole=True)
    assert "never (100 %)" in text
    assert "<1 % (<1 %)" in text


def test_clients_on_the_same_link_are_told_apart():
    rng = np.random.default_rng(4)
    up, down = (
        Trace.from_rates(rng.lognormal(np.log(bps), 0.3, 600), direction=way)
        for way, bps in (("up", 2e6), ("down", 2e7))
    )
    both = fit_link(Trace.merge([up, down]), seed=0)
    asked = {"size_bytes": 1e7, "n_items": 4, "flow": "in", "same_link_share_frac": 0.4}
    text = shown(both, 80, drops_per_day=1.0, **asked)
    assert "40 % of items come from clients on the same link as the server and by" in text
    assert "up and down: the slower direction sets their time" in text
    assert "One whole item takes 4" in text  # 10 MB at 2 Mbit/s
    assert "and 1 drop a day." in text
    alone = shown(fit_link(down, seed=0), 80, **asked)
    assert "leave them out: up was never measured, which they cross as well." in alone


def test_a_mean_that_rare_losses_make_does_not_stand_beside_a_range_below_it(link):
    text = shown(link, 80, size_bytes=5e7, n_items=1, drops_per_day=8.0)
    assert "(rarely any)" in text
    assert "kB (0 B)" not in text
    assert "Expected and sent in vain are means over all futures." in text


def test_the_length_of_outages_is_told_with_its_range_and_without_a_bare_count():
    rates = np.random.default_rng(4).lognormal(np.log(6e6), 0.4, 600)
    rates[100:104] = rates[400:409] = 0.0
    text = shown(fit_link(Trace.from_rates(rates, direction="up"), seed=0), 80,
                 size_bytes=5e6, n_items=2)  # fmt: skip
    told = text.split("(outages last ")[1].split("Assumed")[0]
    assert " s (" in told
    assert " to " in told
    assert "a day" not in told
