"""The answer about caches as a person reads it."""

import io

import pytest
from rich.console import Console

from linkfit.forecast.cache_answer import answer_caching
from linkfit.report.caching_json import caching_record
from linkfit.report.caching_text import caching_text
from linkfit.site.file import parse_site

SITE = parse_site(
    '[site]\nname = "x"\n[[service]]\nname = "s"\nkind = "photo-library"\nusers = 2\n'
)
RECORD = caching_record(SITE, answer_caching(SITE), up_rate_bps=6e6, seed=0)


def shown(record, width=80):
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False, emoji=False, highlight=False)
    for part in caching_text(record):
        console.print(part)
    return out.getvalue()


@pytest.mark.parametrize("width", [80, 40])
def test_every_lifetime_has_hits_saving_and_interval(width):
    text = shown(RECORD, width)
    assert max(map(len, text.splitlines())) <= width
    joined = " ".join(text.split())
    for part in ("as the site is", "60 min", "24 h", "7.0 days", "30 days", "uplink busy",
                 "mean rate of 6.00 Mbit/s", "in brackets: 90 % interval"):  # fmt: skip
        assert part in joined, part


def test_hostile_names_do_nothing():
    tasks = [RECORD["tasks"][0] | {"service": "a\x1b]0;x\x07"}]
    assert "\x1b" not in shown(RECORD | {"tasks": tasks})
