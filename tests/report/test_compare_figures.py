import numpy as np
import pytest

from linkfit.advice.compared_links import NamedLink
from linkfit.advice.comparison import compare_links
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.compare_figures import (
    rates_figure,
    task_rows,
    times_figure,
    write_compare_figures,
)
from linkfit.site.file import parse_site

SITE = '[site]\nname = "s"\n[[service]]\nname = "a $x_1$ <b>"\nkind = "chat"\nusers = 2\n'


@pytest.fixture(scope="module")
def found():
    site = parse_site(SITE)
    rng = np.random.default_rng(2)
    links = []
    for name, median in (("thin $", 1e5), ("wide", 8e6)):
        traces = [
            Trace.from_rates(rng.lognormal(np.log(median), 0.4, 120), direction=d, layer="ip")
            for d in ("up", "down")
        ]
        links.append(NamedLink(name=name, link=fit_link(Trace.merge(traces)), site=site))
    return compare_links(links, n_probes=400)


def test_every_figure_is_written_and_names_act_on_nothing(found, tmp_path):
    written = write_compare_figures(found, tmp_path, kind="svg")
    assert [path.stem for path in written] == ["rates-up", "rates-down", "task-times"]
    assert all("<b>" not in path.read_text() for path in written)


def test_the_same_figures_have_the_same_bytes(found, tmp_path):
    folders = [tmp_path / name for name in "ab"]
    for folder in folders:
        folder.mkdir()
        write_compare_figures(found, folder, kind="svg")
    assert all((folders[1] / path.name).read_bytes() == path.read_bytes()
               for path in folders[0].iterdir())  # fmt: skip


def test_links_differ_by_more_than_colour_and_bear_their_name(found):
    links = [(one.name, dict(one.rates)["up"]) for one in found.standings]
    (axes,) = rates_figure(links, "up").axes
    marks = [line for line in axes.lines if line.get_marker() not in ("None", "")]
    assert len({line.get_marker() for line in marks}) == 2
    spans = [line for line in axes.lines if len(line.get_xdata()) == 2 and not line.get_alpha()]
    assert len({line.get_linestyle() for line in spans}) == 2
    assert "wide: 7.83 Mbit/s" in axes.texts[1].get_text()
    assert "rate of a second" in axes.get_xlabel()


def test_each_task_has_a_row_with_its_target(found):
    evaluated = [(one.name, one.evaluation) for one in found.standings]
    rows = task_rows(evaluated)
    (axes,) = times_figure(evaluated).axes
    assert [text.get_text() for text in axes.texts] == [name for name, _ in rows]
    targets = [c.get_segments()[0][0][0] for c in axes.collections]
    assert targets == [forecasts[0].task.target_s for _, forecasts in rows]
