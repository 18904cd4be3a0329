import json

import pytest

SITE = """\
[site]
name = "Kestrel Ridge dig"
[plan]
cap = "60 GB"
[path]
entry = "relay"
tunnel_overhead = "60 B"
mtu = "1420 B"
keepalive = "20 s"
[hours]
up = ["06:30-22:00"]
"""


def test_the_screen_answers_how_often_and_at_what_cost(run, quick):
    code, out, _ = run("tunnel", *quick, "--nat-timer", "120 s", "--wan-address", "100.72.3.4")
    assert code == 0
    assert "* Say hello every 96 s" in out
    assert "translate addresses? Yes: 100.72.3.4 lies in 100.64.0.0/10" in " ".join(out.split())
    assert max(len(line) for line in out.splitlines()) <= 80
    narrow = run("tunnel", *quick, "--nat-timer", "120 s", columns=40)[1]
    assert max(len(line) for line in narrow.splitlines()) <= 40


def test_a_site_brings_path_hours_and_plan(run, quick, tmp_path):
    site = tmp_path / "site.toml"
    site.write_text(SITE)
    code, out, _ = run("tunnel", *quick, "--site", site, "--json")
    assert code == 0
    record = json.loads(out)
    assert record["hours_per_day"] == pytest.approx(15.5)
    assert record["cap_bytes"] == 60e9
    assert record["sizes"]["inner_mtu_bytes"] == 1360.0
    assert 20.0 in [row["interval_s"] for row in record["intervals"]]


def test_ipv6_mtu_and_tcp_reach_the_answer(run, quick):
    record = json.loads(run("tunnel", *quick, "--ipv6", "--mtu", "1436 B", "--json")[1])
    assert record["sizes"]["inner_mtu_bytes"] == 1356.0
    record = json.loads(run("tunnel", *quick, "--over", "tcp", "--json")[1])
    assert (record["transport"], record["keepalive_s"]) == ("tcp", 30.0)


def test_json_repeats_with_its_seed(run, quick):
    ask = ["tunnel", *quick, "--json"]
    assert run(*ask, "--seed", 5) == run(*ask, "--seed", 5) != run(*ask, "--seed", 6)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--nat-timer", "30"], "--nat-timer: expected a number and ms, s, min"),
        (["--mtu", "1420"], "--mtu: expected a number and B"),
        (["--mtu", "500 B"], "mtu: expected room for 576 bytes"),
        (["--over", "sctp"], "transport: expected 'udp' or 'tcp', got 'sctp'"),
        (["--wan-address", "home"], "--wan-address: expected an IP address, got 'home'"),
    ],
)
def test_bad_options_are_named_with_their_value(run, quick, arguments, said):
    code, out, err = run("tunnel", *quick, *arguments)
    assert (code, out) == (2, "")
    assert said in err


def test_a_site_says_what_its_tunnel_runs_over(run, quick, tmp_path):
    file = tmp_path / "hut.toml"
    file.write_text('[site]\nname = "hut"\n[path]\nentry = "relay"\ntunnel = "tcp"\n')
    asked = ["tunnel", *quick, "--site", file, "--json"]
    assert json.loads(run(*asked)[1])["transport"] == "tcp"
    assert json.loads(run(*asked, "--over", "udp")[1])["transport"] == "udp"
