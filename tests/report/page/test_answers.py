import json
import math

import pytest

from linkfit.errors import ArtifactError
from linkfit.report.page.answers import (
    SCHEMA,
    Answers,
    ToldNumber,
    ToldRecord,
    ToldService,
    answers_from,
    or_never,
)


@pytest.fixture
def answers():
    number = ToldNumber(kind="backlog", name="heap", what="median", unit="days", value=None,
                        low=3.0, high=None, worlds=(3.0, None, None))  # fmt: skip
    return Answers(
        version="1.0",
        seed=3,
        site="camp </script>",
        link_sha256="0" * 64,
        services=(
            ToldService(name="a", verdict="fits", slowest="a: view", in_time_prob=0.97,
                        low_prob=0.9, high_prob=None),
        ),
        numbers=(number,),
        records=(
            ToldRecord(direction="up", first_day="2026-06-01", last_day=None, n_tests=3,
                       hour_fracs=(), hours_sigma=0.15),
        ),
        settings={"plan.cap": "60 GB"},
    )  # fmt: skip


def test_what_goes_into_the_page_comes_back(answers):
    record = json.loads(json.dumps(answers.plain(), allow_nan=False))
    assert record["schema"] == SCHEMA
    assert answers_from(record, "p.html") == answers


def test_nothing_is_never():
    assert or_never(None) == math.inf
    assert or_never(2.5) == 2.5


@pytest.mark.parametrize(("path", "value", "match"), [
    (("version",), 3, "answers: version: "),
    (("numbers", 0, "value"), "much", "answers: numbers.0.value"),
    (("numbers", 0, "worlds"), [], "answers: numbers.0.worlds"),
    (("numbers", 0, "worlds"), [1.0] * 201, "answers: numbers.0.worlds"),
    (("numbers", 0, "worlds"), [float("nan")], "answers: numbers.0.worlds"),
    (("records", 0, "n_tests"), -1, "answers: records.0.n_tests"),
    (("settings",), {"plan.cap": 3}, "answers: settings.plan.cap"),
    (("\x1b[31m",), 1, r"answers: \\x1b\[31m"),
])  # fmt: skip
def test_what_linkfit_never_writes_is_refused(answers, path, value, match):
    record = json.loads(json.dumps(answers.plain()))
    inner = record
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    with pytest.raises(ArtifactError, match=match):
        answers_from(record, "p.html")


def test_a_missing_key_is_named(answers):
    record = answers.plain()
    del record["services"]
    with pytest.raises(ArtifactError, match="answers: services"):
        answers_from(record, "p.html")
