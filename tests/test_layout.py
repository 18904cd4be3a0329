"""tests/ mirrors linkfit/: every module with code has a test file of its name."""

from pathlib import Path

import pytest

TESTS = Path(__file__).parent
ROOT = TESTS.parent / "linkfit"
# told by the tests of what they serve
SERVED_ELSEWHERE = {
    "__main__.py": "tests/end_to_end runs python -m linkfit",
    "forecast/outcomes.py": "shapes only; forecast/test_evaluation.py fills them",
}
MODULES = [p.relative_to(ROOT) for p in sorted(ROOT.rglob("*.py")) if p.name != "__init__.py"]


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_each_module_has_its_test_file(module):
    if str(module) in SERVED_ELSEWHERE:
        return
    name = module.name.lstrip("_")
    assert (TESTS / module.parent / f"test_{name}").exists(), f"no test file for {module}"


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_modules_stay_readable(module):
    n_lines = len((ROOT / module).read_text(encoding="utf-8").splitlines())
    assert n_lines <= 400, f"{module}: {n_lines} lines; split it by what it does"
