"""How old a copy is and how long it stays fresh, as HTTP caches reckon it.

Source: RFC 9111, "HTTP Caching", 2022, sections 1.2.2, 4.2, 4.2.2 and 4.2.3.
"""

import re

from linkfit._checks import non_negative
from linkfit.errors import InputError

LARGEST_DELTA_S = 2_147_483_648  # section 1.2.2: what is larger counts as 2^31
HEURISTIC_FRAC = 0.1  # section 4.2.2: a typical setting
_DELTA = re.compile(r"[0-9]+")


def delta_seconds(text: str) -> int:
    """The value of ``max-age`` or ``Age``; larger ones than can be kept become 2^31. [s]

    Raises
    ------
    InputError
        If it is no row of digits.
    """
    if _DELTA.fullmatch(text) is None:
        raise InputError(f"delta-seconds: expected digits only, got {text[:40]!r}")
    digits = text.lstrip("0")
    return LARGEST_DELTA_S if len(digits) > 10 else min(int(digits or "0"), LARGEST_DELTA_S)


def current_age_s(
    *, age_s: float, date_s: float, request_s: float, response_s: float, now_s: float
) -> float:
    """How old a stored response is. [s]

    Parameters
    ----------
    age_s : float
        Its ``Age`` field, 0 without one. [s]
    date_s : float
        Its ``Date`` field, on the clock of the others. [s]
    request_s, response_s, now_s : float
        When it was asked for, when it came, and now, by the cache's clock. [s]

    Notes
    -----
    Section 4.2.3: ``apparent = max(0, response - date)``, ``corrected = age + (response -
    request)``, and the larger of the two plus the time since it came.
    """
    if not request_s <= response_s <= now_s:
        raise InputError(
            f"response_s: expected request <= response <= now, got {request_s:g}, "
            f"{response_s:g}, {now_s:g}"
        )
    apparent_s = max(0.0, response_s - date_s)
    corrected_s = non_negative("age_s", age_s) + (response_s - request_s)
    return max(apparent_s, corrected_s) + (now_s - response_s)


def is_fresh(lifetime_s: float, age_s: float) -> bool:
    """Section 4.2: fresh while the lifetime is larger than the age."""
    return lifetime_s > age_s


def heuristic_lifetime_s(*, date_s: float, last_modified_s: float) -> float:
    """Lifetime that a cache may assume where none is given: a tenth of the time unchanged. [s]"""
    return HEURISTIC_FRAC * max(0.0, date_s - last_modified_s)
