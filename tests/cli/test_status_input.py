from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from linkfit.cli.status_input import status_terms
from linkfit.errors import InputError

NOTHING = {"cap": None, "cycle_day": None, "timezone": None, "site": None, "on": None}


def test_a_site_says_what_is_not_typed(site_file):
    terms = status_terms(**NOTHING | {"site": str(site_file)})
    assert (terms.cap_bytes, terms.counted, terms.cycle_day) == (60e9, "both", 1)
    assert str(terms.zone) == "Europe/Lisbon"
    typed = {"site": str(site_file), "cap": "20 GB", "cycle_day": 7, "timezone": "UTC"}
    terms = status_terms(**NOTHING | typed)
    assert (terms.cap_bytes, terms.cycle_day, str(terms.zone)) == (20e9, 7, "UTC")


def test_moments_are_local():
    terms = status_terms(**NOTHING | {"on": "2026-07-05T12:00", "timezone": "Europe/Lisbon"})
    expected = datetime(2026, 7, 5, 12, tzinfo=ZoneInfo("Europe/Lisbon"))
    assert terms.now_s == expected.timestamp()


@pytest.mark.parametrize(
    ("typed", "said"),
    [({"on": "soon"}, "--on: .* got 'soon'"), ({"cap": "0 GB"}, "--cap: .* got 0"),
     ({"timezone": "Mars"}, "--timezone: .* got 'Mars'")],
)  # fmt: skip
def test_what_cannot_be_is_refused(typed, said):
    with pytest.raises(InputError, match=said):
        status_terms(**NOTHING | typed)
