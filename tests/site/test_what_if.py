"""Settings put into a site file: where each path leads, what is told, what is refused."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkfit.errors import ConfigError
from linkfit.site.file import parse_site, read_site
from linkfit.site.shown import toml_string
from linkfit.site.what_if import with_settings

EXAMPLE = Path(__file__).parents[2] / "examples" / "kestrel-ridge.toml"
TEXT = EXAMPLE.read_text(encoding="utf-8")


def changed(*texts, text=TEXT):
    return parse_site(text, settings=texts)


def service(site, name):
    return next(service for service in site.services if service.name == name)


def task(site, service_name, name):
    return next(task for task in service(site, service_name).tasks if task.name == name)


@pytest.mark.parametrize("value", ["100GB", "100 GB", '"100 GB"', " 100 GB "])
def test_a_value_is_written_as_in_the_file_quotes_or_not(value):
    assert changed(f"plan.cap={value}").plan.cap_bytes == 100e9


def test_the_same_as_if_the_file_said_so():
    """The text of the file edited by hand is the oracle."""
    by_hand = parse_site(
        TEXT.replace('cap = "60 GB"', 'cap = "100 GB"').replace("users = 10", "users = 14")
        .replace("deadline = 2026-07-31", "deadline = 2026-08-15")
    )  # fmt: skip
    site = changed("plan.cap=100 GB", "field notes.users=14", "season photos.deadline=2026-08-15")
    assert site.services == by_hand.services
    assert (site.plan, site.backlogs, site.path) == (by_hand.plan, by_hand.backlogs, by_hand.path)


def test_users_alone_is_for_every_service_that_people_use():
    site = changed("users=20")
    numbers = {service.name: service.n_users for service in site.services}
    assert numbers["finds catalogue"] == numbers["field notes"] == numbers["team chat"] == 20
    assert (numbers["trench cameras"], numbers["off-site backup"]) == (2, 1)
    assert site.what_if == ("users = 20 (was 8, 10, 12, 1, 4)",)


def test_a_later_setting_goes_over_an_earlier_one():
    site = changed("users=20", "finds catalogue.users=12")
    assert service(site, "finds catalogue").n_users == 12
    assert site.what_if[1] == "finds catalogue.users = 12 (was 20)"


def test_a_task_of_the_kind_that_the_file_does_not_list():
    site = changed("finds catalogue.open the grid.target=1.5 s")
    assert task(site, "finds catalogue", "open the grid").target_s == 1.5
    assert len(service(site, "finds catalogue").tasks) == len(
        service(changed(), "finds catalogue").tasks
    )


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("finds catalogue.open the grid.cache.lifetime=7 d", ("cache", "lifetime_s", 604800.0)),
        ("finds catalogue.view a photo.photo.edge=720", ("image", "edge_px", 720)),
        ("finds catalogue.add a photo.size.spread=2.0", ("size", "spread", 2.0)),
        ("finds catalogue.view a photo.size.spread=2.5", ("size", "spread", 2.5)),
    ],
)
def test_a_part_of_a_table_leaves_the_rest_of_it(text, what):
    name = text.split(".")[1]
    before, after = (task(site, "finds catalogue", name) for site in (changed(), changed(text)))
    part, field, value = what
    old, new = getattr(before, part), getattr(after, part)
    assert getattr(new, field) == value
    others = [f for f in type(old).__dataclass_fields__ if f != field]
    assert [getattr(new, f) for f in others] == [getattr(old, f) for f in others]


def test_none_takes_a_key_out_but_is_a_value_for_who_may_keep_a_copy():
    assert changed("plan.cap=none", "plan.after_cap=none").plan.cap_bytes is None
    site = changed("finds catalogue.open the grid.cache.scope=none")
    assert task(site, "finds catalogue", "open the grid").cache.scope == "none"


def test_a_table_that_the_file_does_not_have_is_made():
    text = '[site]\nname = "hut"\n[[service]]\nname = "x"\nkind = "chat"\nusers = 1\n'
    site = changed("plan.cap=5 GB", "power.battery=400 Wh", "power.load=14 W", text=text)
    assert site.plan.cap_bytes == 5e9
    assert site.hours.power.battery_wh == 400


def test_a_default_cause_and_the_amount_given_the_other_way():
    site = changed("time sync.per_day=1 MB", "laptops fetching updates.per_day=3 MB")
    by_name = {cause.name: cause.bytes_per_day for cause in site.background}
    assert (by_name["time sync"], by_name["laptops fetching updates"]) == (1e6, 3e6)


def test_lists_tables_and_names_with_dots():
    text = TEXT.replace('"field notes"', '"v1.2 notes"')
    site = changed('"v1.2 notes".users=3', "hours.up=['07:00-12:00', '13:00-22:00']",
                   "plan.after_cap={ price_per_GB = 4.0 }", text=text)  # fmt: skip
    assert service(site, "v1.2 notes").n_users == 3
    assert len(site.hours.windows) == 2
    assert site.plan.price_per_gb == 4
    assert service(changed("v1.2 notes.users=4", text=text), "v1.2 notes").n_users == 4


def test_every_problem_at_once_each_with_what_to_do():
    with pytest.raises(ConfigError) as raised:
        read_site(EXAMPLE, ["plan.capp=1 GB", "plan.cap=100", "finds catalog.users=2", "x",
                            "finds catalogue.users=-3", "finds catalogue.adda photo.size=1 MB",
                            "finds catalogue=3", "plan.counted.x=2", "path.mtu="])  # fmt: skip
    problems = raised.value.problems
    assert str(raised.value).count("\n") == len(problems) - 1 == 8
    assert all(line.startswith("--set: ") for line in str(raised.value).splitlines())
    text = "\n".join(problems)
    assert "plan: cap: expected a text with a number and a unit, got 100" in text
    assert "got 'capp'; did you mean 'cap'?" in text
    assert "got 'finds catalog'; did you mean 'finds catalogue'?" in text
    assert "expected PATH=VALUE, got 'x'; write it as" in text
    assert "service 1: users: expected at least 0, got -3" in text
    assert "got 'adda photo'; did you mean 'add a photo'?" in text
    assert "finds catalogue: expected a key after the name" in text
    assert "plan.counted.x: expected a table at counted, got 'both'" in text
    assert "expected PATH=VALUE, got 'path.mtu='" in text


def test_a_name_that_stands_for_two_things_wants_its_table():
    text = TEXT.replace('name = "season photos"', 'name = "team chat"')
    with pytest.raises(ConfigError, match=r"stands for one thing, got a service and a backlog"):
        changed("team chat.window=20:00-06:00", text=text)
    site = changed("backlog.team chat.window=20:00-06:00", text=text)
    assert site.backlogs[0].window
    assert not service(site, "team chat").window


def test_users_without_any_service_of_people():
    text = '[site]\nname = "hut"\n[[service]]\nname = "x"\nkind = "cameras"\nusers = 1\n'
    with pytest.raises(ConfigError, match=r"users: expected a service that people use, got none"):
        changed("users=3", text=text)


def test_the_file_itself_is_told_first():
    with pytest.raises(ConfigError, match=r"^site: plan: cap: expected"):
        changed("users=20", text=TEXT.replace('"60 GB"', "60"))


def test_the_parsed_file_stays_as_it_was():
    data = tomllib.loads(TEXT)
    with_settings(data, changed(), ["users=20", "plan.cap=1 GB"])
    assert data == tomllib.loads(TEXT)


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=40))
def test_hostile_texts_end_in_a_site_or_in_one_error(text):
    for whole in (text, f"plan.cap={text}", f"{toml_string(text)}.users=1", f"{text}=1 GB"):
        try:
            site = changed(whole)
        except ConfigError as error:
            assert "\x1b" not in str(error)  # noqa: PT017 -- either outcome is right
        else:
            assert len(site.what_if) == 1
