import pytest

from linkfit.cli.link_input import trace_input
from linkfit.cli.plan_tests_input import asked_tests, share_of
from linkfit.errors import InputError

NOTHING = trace_input(None, None, None, None, "UTC")


def ask(**given):
    return asked_tests(
        NOTHING,
        **{"width": "20%", "of": "median", "way": "both", "seconds": None, "budget": None,
           "cap": None, "down": "24 Mbit/s", "up": "6 Mbit/s", **given},
    )  # fmt: skip


def test_texts_become_numbers():
    asked = ask(width="12.5 %", budget="200 MB", cap="60 GB", of="p05", way="down")
    assert (asked.width_frac, asked.budget_bytes, asked.cap_bytes) == (0.125, 200e6, 60e9)
    assert [one.direction for one in asked.plan.directions] == ["down"]


@pytest.mark.parametrize("text", ["20", "0%", "-5%", "%", "a fifth", "0.2"])
def test_what_is_no_share(text):
    with pytest.raises(InputError, match=f"--width: expected a share above 0.*got '{text}'"):
        share_of(text, "--width")


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"of": "p95"}, "--of: .* got 'p95'"), ({"way": "out"}, "--way: .* got 'out'"),
        ({"budget": "much"}, "--budget: .* got 'much'"), ({"cap": "5"}, "--cap: .* got '5'"),
        ({"up": "fast"}, "--up: .* got 'fast'"), ({"up": None}, "up: expected measurements"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_named(given, says):
    with pytest.raises(InputError, match=says):
        ask(**given)
