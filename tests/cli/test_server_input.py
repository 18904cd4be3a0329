import pytest

from linkfit.cli.server_input import end_of, server_and_port, session_plan
from linkfit.errors import ConfigError, InputError
from tests.report.test_measure_json import session


@pytest.mark.parametrize(
    ("text", "host", "port"),
    [
        ("camp.example", "camp.example", 5201), ("camp.example:443", "camp.example", 443),
        ("198.18.0.2:5202", "198.18.0.2", 5202), ("[fd00::2]", "fd00::2", 5201),
        ("[fd00::2]:5202", "fd00::2", 5202), ("fd00::2", "fd00::2", 5201),
        (" camp ", "camp", 5201),
    ],
)  # fmt: skip
def test_hosts_and_ports(text, host, port):
    assert server_and_port(text, 5201) == (host, port)


@pytest.mark.parametrize("text", ["camp:0", "camp:65536", "camp:x", "", "[fd00::2", "a:1:"])
def test_what_is_no_server(text):
    if text == "a:1:":  # more than one colon reads as IPv6, which the resolver then refuses
        assert server_and_port(text, 5201) == ("a:1:", 5201)
        return
    with pytest.raises(InputError, match="--server: expected HOST or HOST:PORT"):
        server_and_port(text, 5201)


def asked(**given):
    return session_plan(
        **{
            "server": "camp", "budget": "20 MB", "way": "both", "seconds": 4, "rounds": 1,
            "streams": (1,), "udp": None, "probe_port": None, "interface": None, **given,
        }
    )  # fmt: skip


def test_texts_become_numbers():
    plan = asked(udp="2 Mbit/s", nat_timer_up_to="5 min", wan_address="100.72.3.4")
    assert (plan.budget_bytes, plan.udp_rate_bps, plan.nat_timer_s) == (20e6, 2e6, 300.0)
    assert plan.wan_address == "100.72.3.4"


def test_everything_that_is_wrong_is_told_at_once():
    with pytest.raises(ConfigError) as caught:
        asked(server="x:0", budget="20", way="out", streams=(0,), udp="fast", wan_address="it",
              nat_timer_up_to="long")  # fmt: skip
    told = " ".join(caught.value.problems)
    for option in (
        "--server", "--budget", "--way", "--streams", "--udp", "--wan-address", "--nat-timer-up-to",
    ):  # fmt: skip
        assert option in told


def test_the_end_of_a_session():
    end_of(session())  # a test gave figures
    with pytest.raises(SystemExit, match="130"):
        end_of(session(ended="interrupted"))
    with pytest.raises(InputError, match=r"server camp.invalid port 5201: .* got none: it is away"):
        end_of(session(ended="failed", tests=(), fault="it is away"))
    with pytest.raises(InputError, match="the budget left no room for a test; allow more"):
        end_of(session(ended="budget", tests=()))
