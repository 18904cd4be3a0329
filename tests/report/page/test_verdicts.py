import numpy as np
import pytest

from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import ServiceForecast, TaskForecast
from linkfit.report.page.blocks import Verdicts
from linkfit.report.page.verdicts import changes_section, in_time, slowest, verdict_section
from linkfit.site.model import Service, SizeLaw, Task


def forecast(name, *, target_s, times_s, **more):
    task = Task(name=name, flow="out", size=SizeLaw(median_bytes=1e6), target_s=target_s)
    draws = np.asarray(times_s, dtype=float)
    time = Forecast(draws=draws, unit="s", world=np.arange(draws.size, dtype=np.int32) % 2)
    prob = None if target_s is None else time.prob_within(target_s)
    return TaskForecast(
        service="s", task=task, time=time, prob_within_target=prob, n_max_users=None, **more
    )


def service(*tasks):
    return ServiceForecast(
        service=Service(name="s", kind="chat", n_users=1, tasks=tuple(t.task for t in tasks)),
        tasks=tasks,
    )


def test_the_share_in_time_is_of_all_cases_and_lies_in_its_interval():
    found = in_time(forecast("a", target_s=2.0, times_s=[1, 1, 1, 3] * 5))
    assert found.value == 0.75
    assert found.low <= 0.75 <= found.high


def test_what_is_refused_is_never_in_time_and_no_target_says_nothing():
    assert in_time(forecast("a", target_s=2.0, times_s=[1] * 4, refused="too large")).value == 0
    assert in_time(forecast("a", target_s=None, times_s=[1] * 4)) is None
    assert in_time(forecast("a", target_s=2.0, times_s=[1] * 4, unmeasured="up")) is None


def test_the_slowest_task_decides_the_line():
    good = forecast("good", target_s=2.0, times_s=[1] * 10)
    bad = forecast("bad", target_s=2.0, times_s=[1, 3] * 5)
    refused = forecast("refused", target_s=2.0, times_s=[1] * 10, refused="too large")
    assert slowest(service(good, bad)).task.name == "bad"
    assert slowest(service(good, bad, refused)).task.name == "refused"


@pytest.mark.slow
def test_every_service_has_one_line_with_its_verdict_and_a_chance(material):
    section = verdict_section(material)
    rows = next(block for block in section.blocks if isinstance(block, Verdicts)).rows
    assert [row.service for row in rows] == [one.name for one in material.site.services]
    assert {row.service: row.verdict for row in rows} == dict(material.advice.verdicts)
    assert all(row.chance and row.line for row in rows)


@pytest.mark.slow
def test_changes_tell_what_they_cost(material):
    section = changes_section(material)
    assert section.part == "answers"
    tables = [block for block in section.blocks if hasattr(block, "header")]
    for table in tables:
        if "costs" in table.header:
            assert all(row[table.header.index("costs")] for row in table.rows)
