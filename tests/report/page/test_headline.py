"""What a report keeps of itself for the next one."""

import json

import numpy as np
import pytest

from linkfit.report.page.answer_changes import number_changes
from linkfit.report.page.answers import answers_from
from linkfit.report.page.headline import answers_of

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def answers(material, inputs):
    return answers_of(material, inputs)


def test_every_verdict_is_kept(answers, material):
    assert {one.name: one.verdict for one in answers.services} == dict(material.advice.verdicts)


def test_the_numbers_are_those_of_the_report(answers, material):
    by_name = {(one.kind, one.name): one for one in answers.numbers}
    use = material.data.data.use
    data = by_name["data", "data wanted in a billing cycle"]
    assert data.value == pytest.approx(float(use.quantile(0.5)), rel=1e-3)
    up = by_name["link", "up"]
    assert up.value == pytest.approx(np.median(material.link.up.runs.rates_bps), rel=1e-3)
    assert up.low < up.value < up.high
    assert ("link", "down") in by_name
    assert [one.name for one in answers.numbers if one.kind == "backlog"] == ["\u202egpj.exe"]
    assert {one.unit for one in answers.numbers} == {"bit/s", "bytes", "days", "s"}


def test_settings_and_days_of_measuring_are_kept(answers, inputs):
    assert answers.settings["plan.cap"] == "4 GB"
    assert answers.start == inputs.start.isoformat()
    assert [one.direction for one in answers.records] == ["up", "down"]
    for one in answers.records:
        assert (one.first_day, one.last_day) == ("2026-06-01", "2026-06-08")
        assert sum(one.hour_fracs) == pytest.approx(1.0, abs=0.01)


def test_it_survives_the_page_and_equals_itself(answers):
    again = answers_from(json.loads(json.dumps(answers.plain(), allow_nan=False)), "p.html")
    assert again == answers
    changes = number_changes(answers, again)
    assert changes
    assert all(one.is_same and not one.difference.real for one in changes)


def test_it_is_small(answers):
    assert len(json.dumps(answers.plain())) < 20_000
