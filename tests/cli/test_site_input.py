from datetime import date

import pytest

from linkfit.cli.site_input import chosen_backlogs, first_day, site_from
from linkfit.errors import InputError
from linkfit.site.file import parse_site


@pytest.fixture
def site(site_file):
    return site_from(str(site_file), ())


def test_stdin_holds_one_thing_only():
    with pytest.raises(InputError, match="for SITE or for LINK, got both"):
        site_from("-", ("-",))


def test_the_first_day_is_what_is_said_else_today(site, capsys):
    assert first_day("2026-06-29", site, date(2026, 7, 4)) == date(2026, 6, 29)
    assert first_day(None, site, date(2026, 7, 4)) == date(2026, 7, 4)
    assert capsys.readouterr().err == ""


def test_a_deadline_that_has_passed_is_not_judged_and_said_so(site, capsys):
    assert first_day(None, site, date(2026, 8, 1)) is None
    assert "season photos: its deadline 2026-07-31 lies before today" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["tomorrow", "29.06.2026", "2026-02-30"])
def test_a_day_that_is_none_is_shown(site, text):
    with pytest.raises(InputError, match=f"--start: expected a day as 2026-06-29, got '{text}'"):
        first_day(text, site, date(2026, 7, 4))


def test_backlogs_by_name(site):
    assert [b.name for b in chosen_backlogs(site, None)] == ["season photos"]
    assert [b.name for b in chosen_backlogs(site, "season photos")] == ["season photos"]
    with pytest.raises(InputError, match=r"expected one of 'season photos', got 'other'"):
        chosen_backlogs(site, "other")


def test_a_site_without_backlogs_has_no_answer():
    bare = parse_site('[site]\nname = "x"\n[[service]]\nname = "chat"\nkind = "chat"\nusers = 1\n')
    with pytest.raises(InputError, match="at least one"):
        chosen_backlogs(bare, None)
