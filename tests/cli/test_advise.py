import json

import pytest

from linkfit.advice.verdict import VERDICTS

pytestmark = pytest.mark.slow  # a search evaluates the site dozens of times

TOP = {"schema", "seed", "link", "services", "data", "backlogs", "changes", "cautions"}
TASK = {"name", "flow", "target_s", "p05_s", "p50_s", "p95_s", "p95_low_s", "p95_high_s",
        "prob_within_target", "max_users"}  # fmt: skip
DATA = {"cap_bytes", "p05_bytes", "p50_bytes", "p95_bytes", "prob_over_cap", "runs_out", "ledger"}
BACKLOG = {"name", "p05_days", "p50_days", "p95_days", "binding", "prob_by_deadline"}
CHANGE = {"what", "service", "from", "to", "gain", "cost"}


@pytest.fixture
def ask(site_file, steady_file):
    return ["advise", site_file, steady_file, "--start", "2026-06-29"]


@pytest.fixture
def without_backlog(site_file):
    """Futures over weeks, which only a backlog needs, are much of what an answer costs."""
    site_file.write_text(site_file.read_text().partition("[[backlog]]")[0])


def test_the_same_seed_gives_the_same_bytes_with_every_key_of_the_contract(run, ask):
    answer = run(*ask, "--json", "--seed", 4)
    assert answer == run(*ask, "--json", "--seed", 4)
    code, out, _ = answer
    record = json.loads(out)
    assert code in (0, 4)
    assert set(record) >= TOP
    assert (record["schema"], record["seed"]) == ("linkfit/advice/1", 4)
    for service in record["services"]:
        assert service["verdict"] in VERDICTS
        assert all(set(task) >= TASK for task in service["tasks"])
    assert set(record["data"]) >= DATA
    assert len(record["backlogs"]) == 1
    assert all(set(backlog) >= BACKLOG for backlog in record["backlogs"])
    assert all(set(change) >= CHANGE for change in record["changes"])
    assert record["cautions"]


def test_a_target_that_no_link_can_meet_ends_with_4_and_the_result(
    run, site_file, without_backlog, ask
):
    site_file.write_text(
        site_file.read_text().replace(
            "users = 3",
            'users = 3\n[[service.task]]\nname = "message"\ntarget = "1 ms"\nmust_carry = true',
        )
    )
    code, out, err = run(*ask)
    assert code == 4
    assert "meets every target. In the way:" in out
    assert err == ""
    code, out, _ = run(*ask, "--json")
    assert code == 4
    assert json.loads(out)["feasible"] is False


def test_figures_and_settings_are_written_where_asked(run, ask, tmp_path):
    folder = tmp_path / "figures"
    code, out, err = run(*ask, "--figures", folder, "--emit", tmp_path / "out", columns=80)
    assert code in (0, 4)
    assert max(map(len, out.splitlines())) <= 80
    assert f"4 figures of the advice in {folder}\n" in err
    assert len(list(folder.iterdir())) == 4
    assert "settings to review in" in err
    assert len(err.splitlines()) == 2
    text = (tmp_path / "out" / "settings-to-review.txt").read_text()
    assert all(line == "" or line.startswith("# ") for line in text.splitlines())


def test_no_line_is_longer_than_a_narrow_terminal(run, ask):
    _, out, _ = run(*ask, columns=40)
    assert max(map(len, out.splitlines())) <= 40


def test_hostile_names_in_a_site_file_cannot_act(run, site_file, without_backlog, ask):
    bad = "a\\u001b]0;owned\\u0007[red]\\u202e"
    site_file.write_text(site_file.read_text().replace("team chat", bad))
    code, out, err = run(*ask)
    assert code in (0, 2, 4)
    assert not {"\x1b", "\x07", "\u202e"} & set(out + err)
    code, out, err = run(*ask, "--json")
    assert out.isascii()
    assert not {"\x1b", "\x07"} & set(out + err)


def test_what_crosses_an_unmeasured_direction_is_left_open(run, site_file):
    code, out, err = run("advise", site_file, "--down", "24 Mbit/s")
    assert code in (0, 4), err
    words = " ".join(out.split())
    assert "up (server to internet): never measured" in words
    assert "not enough data" in words
    assert "up was never measured" in words


def test_what_if_is_named_in_text_and_json(run, without_backlog, ask):
    settings = ("--set", "plan.cap=1 TB", "--set", "team chat.users=2")
    _, out, _ = run(*ask, *settings)
    assert "What if\n- plan.cap = 1 TB (was 60 GB)\n- team chat.users = 2 (was 3)\n" in out
    _, out, _ = run(*ask, *settings, "--json")
    record = json.loads(out)
    assert record["what_if"] == ["plan.cap = 1 TB (was 60 GB)", "team chat.users = 2 (was 3)"]
    assert record["data"]["cap_bytes"] == 1e12
    assert record["services"][0]["n_users"] == 2


def test_every_wrong_setting_is_told_at_once_and_nothing_is_forecast(run, ask):
    code, out, err = run(*ask, "--set", "plan.cap=1", "--set", "team chatt.users=2")
    assert (code, out) == (2, "")
    assert "--set: team chatt.users: expected one of" in err
    assert "--set: plan: cap: expected a text with a number and a unit, got 1" in err


def test_bulk_may_make_way_and_its_snippet_marks_it(run):
    code, out, _ = run(
        "advise", "examples/vet-van.toml", "traces/vet-van", "--start", "2026-06-01", "--emit", "-",
        "--set", "plan.cap=200 GB",
    )  # fmt: skip
    assert code == 4  # one call stays too late
    assert "copies for the practice: priority of what it sends" in " ".join(out.split())
    assert "# iptables -t mangle -A OUTPUT -m owner --uid-owner USER -j DSCP --set-dscp 1" in out


SMALL_PLAN = ("--set", "plan.cap=1 GB", "--set", "prices.currency=EUR")
ON_SALE = (
    "--set",
    'prices.plans=[{cap="1 GB",per_month=9},{cap="2 GB",per_month=12.5},{cap="4 GB",per_month=18}]',
)


def test_a_larger_plan_is_priced_by_the_user_and_bought_within_the_limit(run, ask):
    code, out, _ = run(*ask, *SMALL_PLAN, *ON_SALE, "--set", "prices.most_per_month=10", "--json")
    assert code == 0
    record = json.loads(out)
    (plan,) = [change for change in record["changes"] if change["what"] == "data plan"]
    assert (plan["to"], plan["cost"]) == ("4.00 GB", "a larger plan, 9 EUR a month")
    assert plan["cost_parts"]["source"].startswith("money: prices of the site file")
    best = record["answers"]["cheapest"]
    assert (best["money"], best["money_once"]) == (9.0, 0.0)
    moved = [t for t in record["targets"] if t["target"] != t["target_after"]]
    assert [(t["target"], t["target_after"], t["met_after"]) for t in moved] == [(1e9, 4e9, True)]


@pytest.mark.parametrize(
    ("prices", "why_not"),
    [
        ((), "price not given in [prices] of the site file"),
        (ON_SALE, "9 EUR a month, and [prices] of the site file allows no most_per_month"),
    ],
)
def test_without_a_limit_no_money_is_spent(run, ask, prices, why_not):
    _, out, _ = run(*ask, *SMALL_PLAN, *prices, "--json")
    (offered,) = json.loads(out)["answers"]["offered"]
    assert (offered["from"], offered["why_not"]) == ("1.00 GB", why_not)
    assert json.loads(out)["answers"]["cheapest"]["money"] == 0.0
