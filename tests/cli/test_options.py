"""Options shared by commands mean the same everywhere."""

import pytest
import typer.main

from linkfit.cli.app import app

COMMANDS = typer.main.get_command(app).commands
ANSWERING = {"demo", "inspect", "fit", "transfer", "advise", "backlog", "data"}


@pytest.mark.parametrize("name", sorted(ANSWERING))
def test_every_command_that_answers_has_json(name):
    assert "--json" in {opt for p in COMMANDS[name].params for opt in p.opts}


@pytest.mark.parametrize("name", sorted(ANSWERING - {"inspect"}))
def test_every_command_that_draws_has_a_seed(name):
    assert "--seed" in {opt for p in COMMANDS[name].params for opt in p.opts}


def test_one_option_has_one_help_text():
    said = {}
    for name in ANSWERING:
        for parameter in COMMANDS[name].params:
            if parameter.opts[0] in {"--seed", "--json", "--direction", "--timezone", "--units"}:
                said.setdefault(parameter.opts[0], set()).add(parameter.help)
    assert {option: len(texts) for option, texts in said.items()} == dict.fromkeys(said, 1)
