"""Checks of arguments: each returns the value it checked and names it when it is wrong."""

from numbers import Real
from typing import TYPE_CHECKING

from linkfit.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray


def show(value: object) -> str:
    """Numbers as a person writes them (numpy's repr adds its type), the rest as repr."""
    return f"{value:g}" if isinstance(value, Real) else repr(value)


def _number(name: str, value: object, expected: str) -> float:
    if isinstance(value, bool) or not isinstance(value, Real) or value != value:
        raise InputError(f"{name}: expected {expected}, got {show(value)}")
    return float(value)


def positive(name: str, value: float) -> float:
    """`value` as a float, if it is a finite number above 0."""
    expected = "a finite number > 0"
    number = _number(name, value, expected)
    if not 0 < number < float("inf"):
        raise InputError(f"{name}: expected {expected}, got {show(value)}")
    return number


def non_negative(name: str, value: float) -> float:
    """`value` as a float, if it is a finite number of at least 0."""
    expected = "a finite number >= 0"
    number = _number(name, value, expected)
    if not 0 <= number < float("inf"):
        raise InputError(f"{name}: expected {expected}, got {show(value)}")
    return number


def fraction(name: str, value: float) -> float:
    """`value` as a float, if it lies in [0, 1]."""
    expected = "a number from 0 to 1"
    number = _number(name, value, expected)
    if not 0 <= number <= 1:
        raise InputError(f"{name}: expected {expected}, got {show(value)}")
    return number


def count(name: str, value: object, *, least: int = 1) -> int:
    """`value` as an int, if it is a whole number of at least `least`."""
    if (
        isinstance(value, bool)
        or not isinstance(value, Real)
        or not float(value).is_integer()
        or value < least
    ):
        raise InputError(f"{name}: expected a whole number >= {least}, got {show(value)}")
    return int(float(value))


def one_of(name: str, value: str, allowed: tuple[str, ...]) -> str:
    """`value`, if it is one of `allowed`."""
    if value not in allowed:
        raise InputError(f"{name}: expected {' or '.join(map(repr, allowed))}, got {value!r}")
    return value


def non_negative_array(name: str, values: "ArrayLike") -> "NDArray[np.float64]":
    """`values` as float64, if all are finite and at least 0; else names the first that is not."""
    import numpy as np

    array = np.asarray(values, dtype=np.float64)
    wrong = ~(np.isfinite(array) & (array >= 0))
    if wrong.any():
        where = tuple(int(i) for i in np.argwhere(wrong)[0])
        raise InputError(
            f"{name}: expected finite numbers >= 0, got {array[where]:g} at index {where}"
        )
    return array


def frozen_array(values: "NDArray[np.generic]") -> "NDArray[np.generic]":
    """A read-only view of `values`, so that a frozen value stays frozen."""
    view = values.view()
    view.flags.writeable = False
    return view
