"""The import table of DEVELOPERS.md, held by walking every import, those inside functions too."""

import ast
import subprocess
import sys
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1] / "linkfit"
BASE = {"errors", "units", "_checks", "addresses", "plain", "html_table"}
STAGES = {"ingest", "link", "site", "forecast", "advice"}
MAY_IMPORT = {
    "errors": set(),
    "_checks": {"errors"},
    "units": {"errors", "_checks"},
    "addresses": {"errors"},
    "plain": set(),
    "html_table": {"plain"},
    "ingest": BASE,
    "probe": BASE | {"ingest", "link"},
    "link": BASE | {"ingest"},
    "site": BASE,
    "forecast": BASE | {"ingest", "link", "site"},
    "advice": BASE | {"link", "site", "forecast"},
    "report": BASE | STAGES | {"probe"},
    "cli": BASE | STAGES | {"report", "probe", "__init__"},
    "__init__": BASE | STAGES,
    "__main__": {"cli"},
}
MODULES = sorted(ROOT.rglob("*.py"))


def imported_names(tree: ast.AST) -> list[str]:
    names = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, f"relative import: {ast.unparse(node)}"
            names.append(node.module or "")
    return [name for name in names if name.split(".")[0] == "linkfit"]


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_follow_the_table(path):
    layer = path.relative_to(ROOT).parts[0].removesuffix(".py")
    allowed = MAY_IMPORT[layer] | {layer}
    for name in imported_names(ast.parse(path.read_text(encoding="utf-8"))):
        used = [*name.split("."), "__init__"][1]
        assert used in allowed, f"{layer} must not import {name}"


def test_no_import_cycle_at_any_depth():
    graph = {}
    for path in MODULES:
        module = ".".join(("linkfit", *path.relative_to(ROOT).with_suffix("").parts))
        module = module.removesuffix(".__init__")
        if module == "linkfit":  # resolves names on first use: it is above everything
            continue
        graph[module] = {
            n for n in imported_names(ast.parse(path.read_text("utf-8"))) if n != module
        }
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        pytest.fail(f"import cycle: {' -> '.join(error.args[1])}")


def test_stage_packages_hold_a_docstring_only():
    for path in ROOT.glob("*/__init__.py"):
        body = ast.parse(path.read_text("utf-8")).body
        assert len(body) == 1, path
        assert isinstance(body[0], ast.Expr), path


def test_import_and_help_load_no_numeric_library():
    code = "import sys, linkfit, linkfit.cli.app; print(*sys.modules)"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert {"numpy", "pandas", "scipy", "matplotlib", "pydantic"}.isdisjoint(loaded.stdout.split())
