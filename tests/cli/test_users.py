import json

import pytest

pytestmark = pytest.mark.slow

PHOTOS = """
[[service]]
name = "photos"
kind = "photo-library"
users = 3
"""


@pytest.fixture
def photo_site(site_file):
    site_file.write_text(site_file.read_text() + PHOTOS)
    return site_file


def test_json_has_limits_with_ends_and_what_fills(run, photo_site, quick):
    code, out, _ = run("users", photo_site, *quick, "--json")
    record = json.loads(out)
    assert (code, record["schema"]) == (0, "linkfit/users/1")
    assert [one["name"] for one in record["services"]] == ["team chat", "photos"]
    for one in record["services"]:
        if one["max_users"] is not None:
            assert one["max_users_low"] <= one["max_users"] <= one["max_users_high"]
        assert {use["direction"] for use in one["directions"]} <= {"up", "down"}
        assert not any(task["curve"] for task in one["tasks"])


def test_one_service_comes_with_its_curve(run, photo_site, quick):
    ask = ["users", photo_site, *quick, "--service", "photos", "--up-to", "40", "--at", "20:00"]
    record = json.loads(run(*ask, "--json")[1])
    [one] = record["services"]
    [curve] = [task["curve"] for task in one["tasks"] if task["curve"]]
    tops = [point["p95_s"] for point in curve]
    assert tops == sorted(tops)
    assert {1, 3, 40} <= {point["n_users"] for point in curve} <= set(range(1, 41))
    assert record["busy_hour_h"] == 20
    first = run(*ask)
    assert first[0] == 0
    assert "fills first" in first[1]
    assert run(*ask) == first
    narrow = run(*ask, columns=40)[1]
    assert max(map(len, narrow.splitlines())) <= 40


def test_users_set_by_hand_change_nothing_but_the_present_number(run, photo_site, quick):
    ask = ["users", photo_site, *quick, "--service", "photos", "--json"]
    few, many = (
        json.loads(run(*ask, "--set", f"photos.users={n}")[1])["services"][0] for n in (2, 30)
    )
    assert (few["n_users"], many["n_users"]) == (2, 30)
    assert few["max_users"] == many["max_users"]


def test_bad_input_is_told(run, photo_site, quick):
    code, out, err = run("users", photo_site, *quick, "--service", "other")
    assert (code, out) == (2, "")
    assert "'photos'" in err
    code, _, err = run("users", photo_site, *quick, "--at", "25")
    assert code == 2
    assert "--at: expected an hour" in err
