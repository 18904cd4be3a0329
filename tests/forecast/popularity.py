"""Popularities to ask caches with."""

import numpy as np


def zipf_popularity(n_objects, exponent):
    """Request probabilities that fall as rank^-exponent, most popular first."""
    weights = np.arange(1, n_objects + 1) ** -float(exponent)
    return weights / weights.sum()
