"""A transfer that starts again when it breaks: its chance, its expected time, what it wastes.

Closed forms for a steady rate and breaks at random moments (a Poisson process). The simulation
of `pieces` must agree with them on such a link; on a real one breaks come in clusters.
"""

import math

from linkfit._checks import non_negative, positive

_MOST_EXPONENT = 700.0  # exp of more is inf in 64-bit numbers


def unbroken_prob(duration_s: float, breaks_per_s: float) -> float:
    """Chance that nothing breaks for `duration_s`: P = exp(-L T). [probability]"""
    exponent = non_negative("breaks_per_s", breaks_per_s) * non_negative("duration_s", duration_s)
    return math.exp(-exponent)


def expected_time_s(duration_s: float, breaks_per_s: float) -> float:
    """Mean time until one attempt of `duration_s` goes through: (exp(L T) - 1) / L. [s]

    Notes
    -----
    The mean wait for the first gap of length T between the points of a Poisson process with
    rate L; T itself where nothing breaks. inf where it is beyond 64-bit numbers.

    Source
    ------
    W. Feller, "An Introduction to Probability Theory and Its Applications", vol. 2, 1971,
    chapter XI (from memory).
    """
    duration_s = non_negative("duration_s", duration_s)
    exponent = non_negative("breaks_per_s", breaks_per_s) * duration_s
    if exponent == 0:
        return duration_s
    if exponent > _MOST_EXPONENT:
        return math.inf
    return math.expm1(exponent) / breaks_per_s


def expected_wasted_s(duration_s: float, breaks_per_s: float) -> float:
    """Mean time spent on attempts that broke: the expected time less the one that passed. [s]"""
    return expected_time_s(duration_s, breaks_per_s) - duration_s


def best_piece_s(overhead_s: float, breaks_per_s: float) -> float:
    """Sending time of the piece that loses least to its own overhead and to breaks. [s]

    Notes
    -----
    A piece of length T costs `overhead_s` each time and half of itself at each break, so the
    loss a second is o / T + L T / 2, least at T = sqrt(2 o / L); inf where nothing breaks.

    Source
    ------
    J. W. Young, "A first order approximation to the optimum checkpoint interval", Commun. ACM
    17(9), 530-531, 1974, doi:10.1145/361147.361115 (from memory).
    """
    overhead_s = positive("overhead_s", overhead_s)
    if non_negative("breaks_per_s", breaks_per_s) == 0:
        return math.inf
    return math.sqrt(2.0 * overhead_s / breaks_per_s)
