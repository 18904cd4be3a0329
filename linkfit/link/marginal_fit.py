"""Choosing a family by held-out score, and testing it with its dependence in time respected."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import FitError
from linkfit.link.dependence import optimal_block_lengths, stationary_index
from linkfit.link.estimation import FittedFamily, fit_family
from linkfit.link.families import FAMILIES
from linkfit.link.marginal import OUTAGE_SHARE_FRAC, FamilyScore, Marginal, Outages
from linkfit.link.series import MeasuredRuns

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

MIN_SECONDS = 20  # fewer cannot tell families apart
N_QUANTILES = 201
_N_FOLDS = 5
_N_BOOTSTRAP = 99
_MAX_TEST_VALUES = 1000
_MAX_SCORED_VALUES = 20_000
_TABLE = np.linspace(5e-4, 1 - 5e-4, 1000)


def fit_marginal(
    runs: MeasuredRuns, lower_bounds_bps: "NDArray[np.float64]", rng: "Generator | None"
) -> Marginal:
    """Outages, the best family and the smoothed quantiles of the rate of single seconds.

    Parameters
    ----------
    runs : MeasuredRuns
        Seconds of saturating measurement.
    lower_bounds_bps : array, shape (m,)
        Rates known only to be exceeded; they enter every fit as right-censored.
    rng : Generator, optional
        For the bootstrap; None: no family is tried.

    Notes
    -----
    Families are scored by the mean log density of five contiguous stretches, each left out of
    the fit in turn: neighbouring seconds are alike, so a random hold-out would know its answers.
    Among families whose gap to the best is within two standard errors of that gap the one with
    the fewest parameters wins. At most 20,000 seconds, evenly apart, are read.
    """
    outages = find_outages(runs)
    positive = runs.rates_bps[runs.rates_bps > outages.below_bps]
    families: tuple[FamilyScore, ...] = ()
    p_value = None
    varies = positive.size >= MIN_SECONDS and np.ptp(positive) > 1e-6 * positive.max()
    if rng is not None and varies:
        families = score_families(
            positive[:: -(-positive.size // _MAX_SCORED_VALUES)],
            lower_bounds_bps[:: max(-(-lower_bounds_bps.size // _MAX_SCORED_VALUES), 1)],
        )
    if rng is not None and families:
        p_value = fit_p_value(positive, families[0].name, rng)
    return Marginal(
        rates_bps=smoothed_quantiles(positive) if positive.size else np.empty(0),
        outages=outages,
        families=families,
        p_value=p_value,
        n_seconds=int(runs.rates_bps.size),
        n_lower_bounds=int(lower_bounds_bps.size),
    )


def find_outages(runs: MeasuredRuns) -> Outages:
    """Seconds below 1 % of the median rate, and how they follow each other inside runs."""
    rates = runs.rates_bps
    positive = rates[rates > 0]
    below_bps = OUTAGE_SHARE_FRAC * float(np.median(positive)) if positive.size else 0.0
    is_out = rates <= below_bps
    n_out = int(is_out.sum())
    begins = is_out.copy()
    begins[1:] &= ~is_out[:-1]
    begins[runs.first[:-1]] = is_out[runs.first[:-1]]  # a gap ends an outage
    position = np.flatnonzero(begins)
    lengths = np.add.reduceat(is_out, position) if position.size else np.zeros(1, dtype=np.int64)
    n_outages = int(position.size)
    return Outages(
        n_outages=n_outages,
        share_frac=n_out / rates.size,
        mean_s=n_out / n_outages if n_outages else 0.0,
        longest_s=float(lengths.max()) if n_outages else 0.0,
        mean_up_s=(rates.size - n_out) / n_outages if n_outages else float(rates.size),
        below_bps=below_bps,
    )


def score_families(
    rates_bps: "NDArray[np.float64]", lower_bounds_bps: "NDArray[np.float64]"
) -> tuple[FamilyScore, ...]:
    """All families with their held-out scores, the chosen one first, then by score."""
    folds = np.array_split(np.arange(rates_bps.size), _N_FOLDS)
    by_fold: dict[str, NDArray[np.float64]] = {}
    scored = []
    for law in FAMILIES.values():
        try:
            fitted = fit_family(law.name, rates_bps, lower_bounds_bps)
            each = _fold_scores(fitted, rates_bps, lower_bounds_bps, folds)
        except FitError:  # too few values for this family: it is not a candidate
            continue
        if np.isfinite(each).all():
            by_fold[law.name] = each
            scored.append(_family_score(fitted, each))
    if not scored:
        return ()
    scored.sort(key=lambda score: -score.log_score)
    best = by_fold[scored[0].name]
    near = [score for score in scored if _is_tie(best, by_fold[score.name])]
    chosen = min(near, key=lambda score: (score.n_free, -score.log_score))
    return (chosen, *(score for score in scored if score is not chosen))


def _fold_scores(
    fitted: FittedFamily,
    rates_bps: "NDArray[np.float64]",
    lower_bounds_bps: "NDArray[np.float64]",
    folds: "list[NDArray[np.int64]]",
) -> "NDArray[np.float64]":
    """Mean log density of each fold under the fit to the others."""
    scores = []
    for fold in folds:
        rest = np.delete(rates_bps, fold)
        known = fit_family(fitted.name, rest, lower_bounds_bps, start=fitted.parameters)
        scores.append(float(known.log_density(rates_bps[fold]).mean()))
    return np.array(scores)


def _family_score(fitted: FittedFamily, each: "NDArray[np.float64]") -> FamilyScore:
    return FamilyScore(
        name=fitted.name,
        parameters=fitted.parameters,
        n_free=fitted.law.n_free,
        log_score=float(each.mean()),
        standard_error=float(each.std(ddof=1) / np.sqrt(_N_FOLDS)),
    )


def _is_tie(best: "NDArray[np.float64]", other: "NDArray[np.float64]") -> bool:
    """Is the lead of `best` within two standard errors of itself, fold by fold?"""
    lead = best - other
    return bool(lead.mean() <= 2.0 * lead.std(ddof=1) / np.sqrt(_N_FOLDS))


def fit_p_value(rates_bps: "NDArray[np.float64]", name: str, rng: "Generator") -> float:
    """Chance of a distance this large, were the family right and dependence as observed.

    Notes
    -----
    Kolmogorov distance to the fitted family, on at most 1000 seconds evenly apart. Null samples
    keep the order of the observed ranks in blocks (stationary bootstrap), take their values
    from the family, and are fitted anew: textbook critical values hold neither for estimated
    parameters nor for dependent samples. The smallest value is 1 / 100.
    """
    every = -(-rates_bps.size // _MAX_TEST_VALUES)
    x = rates_bps[::every]
    n = x.size
    fitted = fit_family(name, x)
    observed = kolmogorov_distance(x, fitted)
    table = fitted.quantile(_TABLE)
    rank = np.empty(n)
    rank[np.argsort(x, kind="stable")] = np.arange(n)
    block = max(optimal_block_lengths(rank)[0], n / 20)
    n_larger = 0
    for _ in range(_N_BOOTSTRAP):
        drawn = rank[stationary_index(n, block, rng)]
        uniform = (drawn + rng.random(n)) / n
        sample = np.interp(uniform, _TABLE, table)
        again = fit_family(name, sample, start=fitted.parameters)
        n_larger += kolmogorov_distance(sample, again) >= observed
    return (n_larger + 1) / (_N_BOOTSTRAP + 1)


def kolmogorov_distance(x: "NDArray[np.float64]", fitted: FittedFamily) -> float:
    """Largest gap between the empirical distribution of `x`, shape (n,), and the fitted one."""
    probability = fitted.probability(np.sort(x))
    n = x.size
    steps = np.arange(n + 1) / n
    return float(max(np.max(probability - steps[:-1]), np.max(steps[1:] - probability)))


def smoothed_quantiles(values: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """Quantiles at 201 even probabilities, averaged over a neighbourhood that shrinks with n."""
    n_fine = 10 * (N_QUANTILES - 1)
    fine = np.quantile(values, np.linspace(0.0, 1.0, n_fine + 1))
    half = int(np.clip(0.25 * values.size ** (-1 / 3), 0.0, 0.1) * n_fine)
    padded = np.concatenate((np.full(half, fine[0]), fine, np.full(half, fine[-1])))
    cumulative = np.concatenate(([0.0], np.cumsum(padded)))
    width = 2 * half + 1
    smooth = (cumulative[width:] - cumulative[:-width]) / width
    smooth[0], smooth[-1] = fine[0], fine[-1]
    return np.maximum.accumulate(smooth)[::10]
