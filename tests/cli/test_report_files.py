import pytest

from linkfit.cli.report_files import Targets
from linkfit.errors import InputError


def test_endings_choose_the_form(tmp_path):
    targets = Targets.of([str(tmp_path / "a.html"), str(tmp_path / "b.md")], None, replace=False)
    assert [path.suffix for path in targets.files] == [".html", ".md"]


@pytest.mark.parametrize(("output", "match"), [
    ([], r"expected report\.html, report\.pdf or report\.md, got nothing"),
    (["report.docx"], r"ends in \.html, \.pdf, \.md, got 'report\.docx'"),
    (["report"], "got 'report'"),
    (["-"], "got '-'"),
])  # fmt: skip
def test_what_cannot_be_written_is_refused_before_any_work(output, match):
    with pytest.raises(InputError, match=match):
        Targets.of(output, None, replace=False)


def test_a_file_that_is_there_is_refused(tmp_path):
    path = tmp_path / "a.md"
    path.touch()
    with pytest.raises(InputError, match="does not exist yet"):
        Targets.of([str(path)], None, replace=False)
    assert Targets.of([str(path)], None, replace=True).files == (path,)
