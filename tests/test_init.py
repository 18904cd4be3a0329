"""The public names: all resolve, and only those that stand."""

import importlib.metadata

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
