"""What the options of ``linkfit caching`` mean."""

import pytest

from linkfit.cli.caching_input import asked_caches, link_rate_bps
from linkfit.errors import InputError
from linkfit.site.file import parse_site

SITE = parse_site('[site]\nname = "x"\n[[service]]\nname = "s"\nkind = "chat"\nusers = 1\n')


def asked(**options):
    given = {"log": None, "lifetime": None, "cache_sizes": None, "seed": 0}
    return asked_caches(SITE, **(given | options))


def test_a_lifetime_joins_the_usual_ones():
    assert 7200.0 in [saving.lifetime_s for saving in asked(lifetime="2 h").savings]


def test_a_size_without_a_log_is_refused():
    with pytest.raises(InputError, match=r"--cache-size: expected a --log beside it, got none"):
        asked(cache_sizes=["1 MB"])


def test_no_room_at_all_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"--cache-size: expected more than 0 bytes, got 0"):
        asked(cache_sizes=["0 B"], log=str(tmp_path / "any.log"))


def test_without_a_link_nothing_is_said_of_its_rate():
    assert link_rate_bps(None, timezone="UTC", seed=0) is None
