"""Every value of a site file with its path; paths are those of --set."""

from pathlib import Path

import pytest

from linkfit.site.file import parse_site
from linkfit.site.flat_file import flat_settings

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
SITE = """
[site]
name = "hut"
[plan]
cap = "60 GB"
after_cap = { price_per_GB = 4.0 }
[hours]
up = ["06:30-22:00"]
[[service]]
name = "photos"
kind = "photo-library"
users = 8
  [[service.task]]
  name = "view a photo"
  [[service.task]]
  name = "add a photo"
  size = { median = "3.5 MB", spread = 1.6 }
[[backlog]]
name = "v1.2"
items = 30
size = "1 MB"
"""


def test_every_value_has_its_path():
    assert flat_settings(SITE) == (
        ("site.name", "hut"),
        ("plan.cap", "60 GB"),
        ("plan.after_cap.price_per_GB", "4.0"),
        ("hours.up", '["06:30-22:00"]'),
        ("photos.kind", "photo-library"),
        ("photos.users", "8"),
        ("photos.view a photo", "as usual"),
        ("photos.add a photo.size.median", "3.5 MB"),
        ("photos.add a photo.size.spread", "1.6"),
        ("'v1.2'.items", "30"),
        ("'v1.2'.size", "1 MB"),
    )


def test_what_is_set_beside_the_file_is_in_it():
    found = dict(flat_settings(SITE, ["plan.cap=100GB", "users=12", "hours.up=none"]))
    assert found["plan.cap"] == "100GB"
    assert found["photos.users"] == "12"
    assert "hours.up" not in found


def test_a_name_that_two_kinds_share_has_its_kind_before_it():
    both = SITE.replace('name = "v1.2"', 'name = "photos"')
    paths = {path for path, _ in flat_settings(both)}
    assert {"service.photos.users", "backlog.photos.items"} <= paths


def test_tables_without_a_name_go_by_number():
    prices = (
        '[prices]\nplans = [{ cap = "60 GB", per_month = 20 }, { cap = "1 TB", per_month = 40 }]'
    )
    assert flat_settings(f"{SITE}\n{prices}")[-4:] == (
        ("prices.plans.1.cap", "60 GB"),
        ("prices.plans.1.per_month", "20"),
        ("prices.plans.2.cap", "1 TB"),
        ("prices.plans.2.per_month", "40"),
    )


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda path: path.stem)
def test_a_value_set_by_its_own_path_changes_nothing(example):
    """The paths are those that --set takes: each value written back makes the same site."""
    text = example.read_text(encoding="utf-8")
    site = parse_site(text)
    settings = [f"{path}={value}" for path, value in flat_settings(text)
                if value != "as usual" and not path.endswith(".kind")
                and not path.startswith(("site.", "prices.plans."))]  # fmt: skip
    again = parse_site(text, settings=settings)
    assert (again.services, again.backlogs, again.plan) == (
        site.services, site.backlogs, site.plan)  # fmt: skip
