"""The public names: all resolve, and only those that stand."""

import ast
import importlib.metadata
from pathlib import Path

import pytest

import linkfit


@pytest.mark.parametrize("name", [n for n in linkfit.__all__ if n != "__version__"])
def test_every_public_name_resolves(name):
    assert getattr(linkfit, name).__name__ == name


def test_the_version_is_the_package_version():
    assert linkfit.__version__ == importlib.metadata.version("linkfit")


def test_an_unknown_name_is_said():
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        linkfit.nothing  # noqa: B018


def test_type_checkers_see_the_same_names():
    tree = ast.parse(Path(linkfit.__file__).read_text(encoding="utf-8"))
    block = next(node for node in tree.body if isinstance(node, ast.If))
    seen = {alias.name for node in block.body for alias in node.names}
    assert seen == set(linkfit.__all__) - {"__version__"}
