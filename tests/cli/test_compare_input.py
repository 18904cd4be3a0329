import pytest

from linkfit.cli.compare_input import Asked, named_links
from linkfit.cli.link_input import TraceInput
from linkfit.errors import InputError
from linkfit.site.file import parse_site

SITE = parse_site('[site]\nname = "s"\n[[service]]\nname = "c"\nkind = "chat"\nusers = 2\n')


def links(paths, *, sites=(), **asked):
    return named_links(TraceInput(paths=tuple(map(str, paths))), sites, Asked(**asked))


@pytest.fixture
def two(trace_file, tmp_path):
    other = tmp_path / "b" / "tests.csv"
    other.parent.mkdir()
    other.write_text(trace_file.read_text())
    return trace_file, other


def test_names_are_the_shortest_ends_that_differ(two):
    found = links(two)
    assert [one.name.count("/") for one in found] == [1, 1]
    assert found[1].name == "b/tests.csv"


def test_names_and_prices_as_given(two):
    found = links(two, names=("A", "B"), prices=("B=19.5",))
    assert [(one.name, one.month_cost) for one in found] == [("A", None), ("B", 19.5)]


def test_one_site_for_all_or_one_for_each(two):
    assert [one.site for one in links(two, sites=[SITE])] == [SITE, SITE]
    with pytest.raises(InputError, match=r"--site: .* each of 2, got 3"):
        links(two, sites=[SITE] * 3)


def test_halves_of_one_link(trace_file):
    first, second = links([trace_file], halves=True)
    assert (first.name, second.name) == ("first half", "second half")
    assert (first.link.up.measured_s, second.link.up.measured_s) == (60, 60)


def test_before_and_from_a_moment(trace_file):
    first, second = links([trace_file], split="2026-06-15T08:30")
    assert (first.name, second.name) == ("before 2026-06-15T08:30", "from 2026-06-15T08:30")
    assert first.link.down is None
    assert second.link.up is None


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ({"names": ("A",)}, "--name: expected one for each of 2 links, in their order, got 1"),
        ({"prices": ("A",)}, "--price: expected NAME=MONEY PER MONTH, got 'A'"),
        ({"prices": ("A=-3",)}, "--price: expected NAME=MONEY PER MONTH, got 'A=-3'"),
        ({"prices": ("A=nan",)}, "--price: expected NAME=MONEY PER MONTH, got 'A=nan'"),
        ({"prices": ("C=3",)}, "--price: expected the name of a link .*, got 'C'"),
        ({"split": "soon"}, "--split: expected a day or a moment .*, got 'soon'"),
        ({"split": "2026-06-15", "halves": True}, "--halves: expected --halves or --split"),
    ],
)
def test_wrong_options_are_named(two, words, message):
    with pytest.raises(InputError, match=message):
        links(two, **words)


def test_one_link_alone_is_not_compared(trace_file):
    with pytest.raises(InputError, match="LINK: expected two links or more, got 1"):
        links([trace_file])
