import json

import pytest

from linkfit.errors import ArtifactError
from linkfit.report.page.answers import SCHEMA, Answers
from linkfit.report.page.earlier import read_earlier


def element(name, record):
    text = json.dumps(record).replace("<", "\\u003c")
    return f'<script type="application/json" id="{name}">{text}</script>'


@pytest.fixture
def answers():
    return Answers(version="1", seed=0, site="a </script>", link_sha256="", services=(),
                   numbers=(), records=(), settings={})  # fmt: skip


@pytest.fixture
def write(tmp_path):
    def put(*elements):
        path = tmp_path / "old.html"
        path.write_text("<p>" + "".join(elements), encoding="utf-8")
        return path

    return put


def test_the_answers_of_a_page_are_read(write, answers):
    page = write(element("report-inputs", {}), element("report-answers", answers.plain()))
    assert read_earlier(page) == answers


def test_a_report_of_an_earlier_release_is_told_apart_with_what_to_do(write):
    page = write(element("report-inputs", {"schema": "linkfit/report/1"}))
    with pytest.raises(ArtifactError, match=r"expected a report that holds its answers.*--from"):
        read_earlier(page)


def test_another_file_is_told_apart(write, tmp_path):
    with pytest.raises(ArtifactError, match="a file without answers"):
        read_earlier(write("no report"))
    with pytest.raises(ArtifactError, match="No such file"):
        read_earlier(tmp_path / "absent.html")


def test_another_version_of_the_answers_is_refused(write, answers):
    newer = answers.plain() | {"schema": "linkfit/report-answers/9\x1b[31m"}
    with pytest.raises(ArtifactError, match=rf"expected '{SCHEMA}', got .*answers/9\\\\x1b"):
        read_earlier(write(element("report-answers", newer)))


def test_damage_is_told_with_its_place(write, answers):
    broken = answers.plain() | {"numbers": [{"kind": "link"}]}
    with pytest.raises(ArtifactError, match=r"damaged one \(answers: numbers.0"):
        read_earlier(write(element("report-answers", broken)))
