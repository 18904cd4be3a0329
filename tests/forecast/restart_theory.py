"""A transfer that starts again when it breaks, on a steady link with random breaks: the oracle."""

import math


def unbroken_prob(duration_s, breaks_per_s):
    """Chance that nothing breaks for `duration_s`: P = exp(-L T)."""
    return math.exp(-breaks_per_s * duration_s)


def expected_time_s(duration_s, breaks_per_s):
    """Mean time until one attempt of `duration_s` goes through: (exp(L T) - 1) / L.

    The mean wait for the first gap of length T between the points of a Poisson process with rate
    L: W. Feller, "An Introduction to Probability Theory and Its Applications", vol. 2, 1971,
    chapter XI (from memory).
    """
    return math.expm1(breaks_per_s * duration_s) / breaks_per_s
