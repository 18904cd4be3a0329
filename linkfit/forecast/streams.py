"""Streams that need a fixed rate: how many the link carries, and who finds no room."""

from linkfit._checks import count, non_negative
from linkfit.errors import InputError


def erlang_b(offered_erlangs: float, n_servers: int) -> float:
    """Chance that a new stream finds all `n_servers` places taken. [probability]

    Parameters
    ----------
    offered_erlangs : float
        Mean number of streams that would run if there were always room, >= 0. [erlang]
    n_servers : int
        Places, >= 0.

    Notes
    -----
    B(0) = 1, B(n) = A B(n-1) / (n + A B(n-1)); holds for any distribution of stream lengths.

    Source
    ------
    A. K. Erlang, "Solution of some problems in the theory of probabilities of significance in
    automatic telephone exchanges", 1917 (value from memory); the recursion is textbook.
    """
    offered = non_negative("offered_erlangs", offered_erlangs)
    blocked = 1.0
    for number in range(1, count("n_servers", n_servers, least=0) + 1):
        blocked = offered * blocked / (number + offered * blocked)
    return blocked


def offered_erlangs(blocked_prob: float, n_servers: int) -> float:
    """Load at which `n_servers` places turn away a share `blocked_prob`. [erlang]

    Raises
    ------
    InputError
        If the chance is not inside (0, 1): no finite load reaches 1.
    """
    if not 0 < blocked_prob < 1:
        raise InputError(f"blocked_prob: expected a number inside (0, 1), got {blocked_prob:g}")
    count("n_servers", n_servers)
    low, high = 0.0, 1.0
    while erlang_b(high, n_servers) < blocked_prob:
        high *= 2
    while high - low > 1e-12 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if erlang_b(middle, n_servers) < blocked_prob else (low, middle)
    return high
