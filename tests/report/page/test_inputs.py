import base64
import json
import zlib

import pytest

from linkfit.errors import ArtifactError, InputError
from linkfit.report.page import inputs as inputs_module
from linkfit.report.page.inputs import check_same_link, inputs_of, read_back, saved_link_bytes

SITE = '[site]\nname = "camp </script>"\n'


def page(record):
    text = json.dumps(record).replace("<", "\\u003c")
    return f'<p><script type="application/json" id="report-inputs">{text}</script>'


@pytest.fixture
def made(report_link):
    return inputs_of(report_link, site_text=SITE, settings=("site.name=x",), seed=4, start=None,
                     version="1.2.3")  # fmt: skip


@pytest.fixture
def write(tmp_path):
    def put(record):
        path = tmp_path / "page.html"
        path.write_text(page(record), encoding="utf-8")
        return path

    return put


def test_what_goes_in_comes_back(made, write, report_link):
    found, link = read_back(write(made.plain()))
    assert (found.seed, found.start, found.site_text, found.settings) == (
        4, None, SITE, ("site.name=x",))  # fmt: skip
    assert saved_link_bytes(link) == saved_link_bytes(report_link)
    assert found.site().name == "x"


@pytest.mark.parametrize(("key", "value", "match"), [
    ("site", "[site]\nname = 'other'\n", "the site file does not fit its hash"),
    ("link_sha256", "0" * 64, "the link does not fit its hash"),
    ("link", "!!!", "link: "),
    ("schema", "linkfit/report/9", "expected 'linkfit/report/1', got 'linkfit/report/9'"),
    ("seed", "many", "inputs: invalid literal"),
    ("start", "someday", "inputs: Invalid isoformat"),
])  # fmt: skip
def test_what_was_changed_is_refused(made, write, key, value, match):
    with pytest.raises(ArtifactError, match=match):
        read_back(write(made.plain() | {key: value}))


def test_a_missing_key_is_named(made, write):
    record = made.plain()
    del record["version"]
    with pytest.raises(ArtifactError, match="'version'"):
        read_back(write(record))


def test_another_file_is_told_apart(tmp_path):
    path = tmp_path / "other.html"
    path.write_text("<p>no report", encoding="utf-8")
    with pytest.raises(ArtifactError, match="a file without its inputs"):
        read_back(path)
    with pytest.raises(ArtifactError, match="No such file"):
        read_back(tmp_path / "absent.html")


def test_a_packed_bomb_stops_at_its_limit(made, write, monkeypatch):
    monkeypatch.setattr(inputs_module, "_MOST_UNPACKED_BYTES", 1000)
    bomb = base64.b64encode(zlib.compress(b"0" * 10**6)).decode()
    with pytest.raises(ArtifactError, match="does not fit its hash"):
        read_back(write(made.plain() | {"link": bomb}))


def test_a_link_too_large_for_a_page_leaves_its_hash(report_link, write, monkeypatch):
    monkeypatch.setattr(inputs_module, "MOST_LINK_BYTES", 10)
    made = inputs_of(report_link, site_text=SITE, seed=0, start=None, version="1")
    found, link = read_back(write(made.plain()))
    assert link is None
    check_same_link(found, report_link)


def test_another_link_is_refused(made, report_link):
    from dataclasses import replace

    other = replace(report_link, seed=99)
    with pytest.raises(InputError, match="the link that the report was made of"):
        check_same_link(made, other)
