"""What README and DEVELOPERS.md say is true."""

import importlib.util
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import typer.main

from linkfit import errors
from linkfit.cli.app import app

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
COMMANDS = sorted(typer.main.get_command(app).commands)


def code_blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", text, flags=re.DOTALL)


def test_ci_runs_exactly_the_readme_test_command():
    lines = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    blocks = [line for block in code_blocks(README, "sh") for line in block.splitlines()]
    assert lines[-1] in blocks


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_stands_in_the_readme(command):
    assert re.search(rf"`linkfit {command}\b", README), f"README: no `linkfit {command}`"


def test_every_command_the_readme_names_exists():
    named = set(re.findall(r"(?:^|`|\$ )linkfit ([a-z-]+)", README, flags=re.MULTILINE))
    assert named <= set(COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_and_option_has_help(command):
    click_command = typer.main.get_command(app).commands[command]
    assert click_command.help, command
    for parameter in click_command.params:
        assert getattr(parameter, "help", None), f"{command}: {parameter.name} has no help"


def reference() -> str:
    """The README's table of options, as the commands themselves tell it."""
    lines = []
    for name in COMMANDS:
        command = typer.main.get_command(app).commands[name]
        lines += [f"#### `linkfit {name}`", "", " ".join((command.help or "").split()), ""]
        lines += ["| argument or option | meaning |", "|---|---|"]
        for parameter in command.params:
            names = parameter.opts if parameter.param_type_name == "option" else [parameter.name]
            shown = ", ".join(f"`{n}`" for n in names)
            text = " ".join((getattr(parameter, "help", None) or "").split()).replace("|", "or")
            lines.append(f"| {shown} | {text} |")
        lines.append("")
    return "\n".join(lines)


def test_the_readme_reference_is_what_the_commands_say(request):
    path = ROOT / "README.md"
    text = path.read_text(encoding="utf-8")
    head, _, rest = text.partition("<!-- reference -->\n")
    old, _, tail = rest.partition("<!-- end of reference -->")
    if request.config.getoption("--regen"):
        new = f"{head}<!-- reference -->\n{reference()}<!-- end of reference -->{tail}"
        path.write_text(new, encoding="utf-8")
        return
    assert old == reference(), "run pytest --regen tests/test_docs.py and review the diff"


def test_the_python_blocks_of_the_readme_run(tmp_path):
    blocks = code_blocks(README, "python")
    assert blocks
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", "\n".join(blocks)],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_the_change_list_starts_with_the_version():
    version = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["version"]
    newest = re.search(r"## Changes\n+### (\S+)", README)
    assert newest is not None
    assert newest[1] == version


def test_the_import_table_of_developers_is_the_tested_one():
    spec = importlib.util.spec_from_file_location("arch", ROOT / "tests" / "test_architecture.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    for layer in ("ingest", "link", "site", "forecast", "advice", "report", "cli"):
        assert layer in module.MAY_IMPORT
        assert f"| `{layer}` |" in DEVELOPERS


def test_exit_codes_in_developers_are_those_of_the_classes():
    codes = {
        1: errors.LinkfitError,
        2: errors.InputError,
        3: errors.FitError,
        4: errors.InfeasibleError,
    }
    text = "0 done, 1 bug, 2 input,\n3 cannot fit, 4 no setting meets the targets"
    assert text in DEVELOPERS
    assert all(cls.exit_code == code for code, cls in codes.items())


@pytest.mark.parametrize("path", ["link/", "site/", "forecast/evaluation.py", "report/plain.py"])
def test_places_that_developers_names_exist(path):
    assert (ROOT / "linkfit" / path).exists()
