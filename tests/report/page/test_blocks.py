import pytest

from linkfit.report.page.blocks import Picture, Report, Section, Table


def test_a_row_of_another_length_is_refused():
    with pytest.raises(ValueError, match=r"expected 2 cells, got \('a',\)"):
        Table(caption="c", header=("x", "y"), rows=(("a",),))


def test_pictures_come_in_reading_order():
    def section(key, *names):
        blocks = tuple(Picture(name=n, figure=None, caption="c", finding="f") for n in names)
        return Section(key=key, title=key, part="answers", blocks=blocks)

    report = Report(title="t", subtitle="s", sections=(section("a", "x", "y"), section("b", "z")))
    assert [picture.name for picture in report.pictures()] == ["x", "y", "z"]
