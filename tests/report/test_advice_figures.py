import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import (
    BacklogForecast,
    DataForecast,
    Evaluation,
    LedgerEntry,
    ServiceForecast,
    TaskForecast,
)
from linkfit.report.advice_figures import write_advice_figures
from linkfit.site.model import Backlog, Service, Site, SizeLaw, Task


def lognormal(median, unit, seed, sigma=0.5):
    draws = median * np.exp(sigma * np.random.default_rng(seed).standard_normal(400))
    return Forecast(draws=draws, unit=unit, world=np.arange(400) % 20)


def an_evaluation(factor=1.0, *, name="finds catalogue", never=False):
    names = ["open the grid of thumbnails", "view a photo", "add a photo", "get the original"]
    medians, targets = [4.0, 1.2, 30.0, 9.0], [3.0, 2.0, 60.0, 15.0]
    tasks = []
    for i, (task_name, median, target) in enumerate(zip(names, medians, targets, strict=True)):
        task = Task(name=task_name, flow="out", size=SizeLaw(median_bytes=1e6), target_s=target)
        time = lognormal(median * factor, "s", i)
        tasks.append(TaskForecast(service=name, task=task, time=time, prob_within_target=0.5,
                                  n_max_users=None))  # fmt: skip
    service = Service(
        name=name, kind="photo-library", n_users=8, tasks=tuple(t.task for t in tasks)
    )
    causes = ["view a photo", "add a photo", "updates of the server", "keeping the tunnel open"]
    ledger = tuple(
        LedgerEntry(cause=f"{name}: {cause}", service=name,
                    use=lognormal(factor * 2.0**-i * 3e10, "bytes", i))
        for i, cause in enumerate(causes)
    )  # fmt: skip
    use = lognormal(5e10 * factor, "bytes", 9, 0.3)
    data = DataForecast(cap_bytes=6e10, cycle_days=30.0, use=use,
                        prob_over_cap=0.3, runs_out=None, ledger=ledger)  # fmt: skip
    backlog = Backlog(name="season photos", n_items=4200, size=SizeLaw(median_bytes=3.5e6))
    days = lognormal(12 * factor, "days", 5, 0.2)
    if never:
        days = replace(days, draws=np.full(400, np.inf))
    outlook = BacklogForecast(backlog=backlog, days=days, binding="data plan",
                              binding_frac={"data plan": 1.0}, by_deadline=None)  # fmt: skip
    site = Site(name="Kestrel Ridge", services=(service,), backlogs=(backlog,))
    forecast = ServiceForecast(service=service, tasks=tuple(tasks))
    return Evaluation(site=site, seed=0, services=(forecast,),
                      data=data, backlogs=(outlook,))  # fmt: skip


def test_every_figure_is_written_and_the_same_on_a_second_run(tmp_path):
    written = []
    for folder in (tmp_path / "a", tmp_path / "b"):
        folder.mkdir()
        written.append(
            write_advice_figures(an_evaluation(), an_evaluation(0.5), folder, kind="svg")
        )
    names = ["task-times.svg", "data-use.svg", "data-ledger.svg", "backlog-1.svg"]
    assert [path.name for path in written[0]] == names
    for one, other in zip(*written, strict=True):
        assert one.read_bytes() == other.read_bytes(), one.name
        ET.parse(one)


@pytest.mark.parametrize(
    "name",
    ["$x^$", "\x1b[31m\u202e", "<script>alert(1)</script>", "写真庫", "a" * 300, "100 % & _"],
)
def test_hostile_names_are_drawn_as_text(tmp_path, name):
    written = write_advice_figures(
        an_evaluation(name=name), an_evaluation(0.5, name=name), tmp_path, kind="svg"
    )
    for path in written:
        text = path.read_text(encoding="utf-8")
        ET.fromstring(text)
        assert "<script" not in text
        assert "\x1b" not in text


def test_a_backlog_that_never_ends_is_said_so(tmp_path):
    never = an_evaluation(never=True)
    path = write_advice_figures(never, an_evaluation(), tmp_path, kind="svg")[-1]
    assert "as it is: never" in path.read_text()  # SVG keeps the drawn words as a comment


def test_a_site_without_services_has_the_other_figures(tmp_path):
    bare = replace(an_evaluation(), services=(), backlogs=())
    written = write_advice_figures(bare, bare, tmp_path, kind="png")
    assert [path.name for path in written] == ["data-use.png", "data-ledger.png"]
