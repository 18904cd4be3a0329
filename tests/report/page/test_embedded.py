import pytest

from linkfit.errors import ArtifactError
from linkfit.report.page.embedded import MOST_PAGE_BYTES, embedded, page_text


def element(text, name="a"):
    return f'<p><script type="application/json" id="{name}">{text}</script></p>'


def test_a_record_is_found_by_its_name_alone():
    page = element('{"x": 1}') + element('{"x": 2}', "b")
    assert embedded(page, "b", "p.html") == {"x": 2}
    assert embedded(page, "c", "p.html") is None


@pytest.mark.parametrize("text", ['{"x": ', "[1]", "[" * 100_000, "null"])
def test_what_is_no_record_is_damage(text):
    with pytest.raises(ArtifactError, match=r"^p.html: expected a report as linkfit wrote it"):
        embedded(element(text), "a", "p.html")


def test_a_file_that_is_no_text_is_told(tmp_path):
    path = tmp_path / "page.html"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ArtifactError, match="bytes that are not UTF-8"):
        page_text(path)
    with pytest.raises(ArtifactError, match="No such file"):
        page_text(tmp_path / "absent.html")


def test_no_more_is_read_than_a_page_may_have(tmp_path):
    path = tmp_path / "page.html"
    path.write_bytes(b"x" * (MOST_PAGE_BYTES + 1000))
    assert len(page_text(path)) == MOST_PAGE_BYTES + 1
