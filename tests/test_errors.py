"""One base, builtin parents, an exit code a class."""

import pytest

from linkfit import errors


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("LinkfitError", 1),
        ("InputError", 2),
        ("TraceError", 2),
        ("ConfigError", 2),
        ("ArtifactError", 2),
        ("FitError", 3),
        ("InfeasibleError", 4),
    ],
)
def test_exit_codes_are_the_contract(name, code):
    assert getattr(errors, name).exit_code == code
    assert issubclass(getattr(errors, name), errors.LinkfitError)


def test_input_errors_are_value_errors():
    assert issubclass(errors.TraceError, ValueError)


def test_a_config_error_keeps_every_problem_in_order():
    error = errors.ConfigError("site.toml", ["plan: cap: got 0", "service 1: name: missing"])
    assert str(error) == "site.toml: plan: cap: got 0\nsite.toml: service 1: name: missing"
    assert error.problems == ("plan: cap: got 0", "service 1: name: missing")
