"""One small report with hostile names, made once: a page, its Markdown, its PDF."""

from datetime import date

import numpy as np
import pytest

from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.page.content import report_of
from linkfit.report.page.html_page import html_page
from linkfit.report.page.inputs import inputs_of
from linkfit.report.page.markdown_page import markdown_page
from linkfit.report.page.material import gather
from linkfit.site.file import parse_site

# a script, quotes, a terminal escape, a right-to-left override, a formula, Markdown, mathematics
SCRIPT = "</script><script>alert(1)</script>"
QUOTES = "a\"b'c><img src=x onerror=alert(2)>"
ESCAPE = "\x1b[31mred"
OVERRIDE = "\u202egpj.exe"
FORMULA = "=HYPERLINK(1)|[x](javascript:alert(3))`$x_1$"
HOSTILE = (SCRIPT, QUOTES, ESCAPE, OVERRIDE, FORMULA)
SITE = r"""
# </script><script>alert(4)</script> and <b>bold</b> in a comment
[site]
name = "</script><script>alert(1)</script>"
timezone = "Europe/Lisbon"
[plan]
cap = "4 GB"
after_cap = "512 kbit/s"
[path]
entry = "relay"
relay_rtt = "18 ms"
body_limit = "100 MB"
same_link_share = 0.3
[hours]
up = ["06:30-22:00"]
[[service]]
name = "a\"b'c><img src=x onerror=alert(2)>"
kind = "photo-library"
users = 6
only_listed_tasks = true
  [[service.task]]
  name = "view a photo"
  [[service.task]]
  name = "add a photo"
  per_user_day = 4
[[service]]
name = "\u001B[31mred"
kind = "remote-shell"
users = 1
[[background]]
name = "=HYPERLINK(1)|[x](javascript:alert(3))`$x_1$"
per_month = "1 GB"
flow = "in"
[[backlog]]
name = "\u202Egpj.exe"
items = 300
size = { median = "3.5 MB", spread = 1.6 }
flow = "out"
deadline = 2026-07-31
"""
START = date(2026, 6, 29)


@pytest.fixture(scope="session")
def report_link():
    """Both directions measured in short tests at six hours of eight days, idle round trips."""
    from datetime import UTC, datetime, timedelta

    rng = np.random.default_rng(11)
    parts = []
    for day in range(8):
        for hour in (7, 10, 13, 16, 19, 21):
            start = datetime(2026, 6, 1, hour, tzinfo=UTC) + timedelta(days=day)
            level = np.exp(0.3 * rng.standard_normal()) * (0.6 if hour >= 19 else 1.0)
            for direction, mean_bps in (("up", 5e6), ("down", 20e6)):
                rates = level * mean_bps * np.exp(0.3 * rng.standard_normal(12))
                parts.append(Trace.from_rates(rates, step_s=1.0, direction=direction, start=start))
    return fit_link(Trace.merge(parts), seed=0, timezone="Europe/Lisbon")


@pytest.fixture(scope="session")
def material(report_link):
    return gather(parse_site(SITE), report_link, seed=3, start=START)


@pytest.fixture(scope="session")
def inputs(report_link):
    return inputs_of(report_link, site_text=SITE, seed=3, start=START, version="9.9.9")


@pytest.fixture(scope="session")
def report(material, inputs):
    return report_of(material, inputs)


@pytest.fixture(scope="session")
def page(report, inputs):
    return html_page(report, inputs)


@pytest.fixture(scope="session")
def page_file(page, tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(page, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def markdown(report):
    return markdown_page(report)
