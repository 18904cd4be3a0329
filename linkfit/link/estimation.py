"""Maximum likelihood for the families: closed forms and Newton steps, with lower bounds.

Every estimator takes positive values and optional weights and costs a few passes over them. Where
some values are lower bounds (right-censored), the likelihood is maximised with scipy's
CensoredData, the location held at 0, or by EM for the mixture.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import digamma, ndtr, polygamma

from linkfit.errors import FitError, InputError
from linkfit.link.families import FAMILIES, Family, family, log_survival

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Estimator = Callable[[NDArray[np.float64], NDArray[np.float64] | None], tuple[float, ...]]

MIN_SIGMA = 1e-3  # a spread below 0.1 % is the rounding of a counter, not a property of a link
_N_BINS = 2048
_COMPRESS_ABOVE = 4000
_MAX_STEPS = 60
_TOLERANCE = 1e-10


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedFamily:
    """A family with its parameters and the log likelihood of what it was fitted to."""

    name: str
    parameters: tuple[float, ...]
    log_likelihood: float
    n_values: int
    n_lower_bounds: int = 0

    @property
    def law(self) -> Family:
        """The formulas of the family."""
        return FAMILIES[self.name]

    def log_density(self, x: "ArrayLike") -> "NDArray[np.float64]":
        """Logarithm of the density at x > 0, shape of `x`."""
        return self.law.log_density(np.asarray(x, dtype=np.float64), self.parameters)

    def probability(self, x: "ArrayLike") -> "NDArray[np.float64]":
        """Probability of at most x > 0, shape of `x`."""
        return self.law.probability(np.asarray(x, dtype=np.float64), self.parameters)

    def quantile(self, levels: "ArrayLike") -> "NDArray[np.float64]":
        """Quantiles at `levels` in (0, 1), in the unit of the values."""
        return self.law.quantile(np.asarray(levels, dtype=np.float64), self.parameters)


def fit_family(
    name: str,
    values: "ArrayLike",
    lower_bounds: "ArrayLike | None" = None,
    *,
    start: tuple[float, ...] | None = None,
) -> FittedFamily:
    """The most likely member of family `name`.

    Parameters
    ----------
    name : str
        A key of FAMILIES.
    values : array, shape (n,)
        Finite and > 0; outages (zeros) are to be split off before.
    lower_bounds : array, shape (m,), optional
        Values known only to be exceeded (right-censored).
    start : tuple of float, optional
        Parameters of a similar sample: saves the mixture its search for a start.

    Raises
    ------
    FitError
        With fewer than 2 values.

    Notes
    -----
    Lognormal: closed form. Gamma: Newton on the shape (Minka 2002). Weibull and log-logistic:
    Newton on the logarithms. Burr XII: Newton on two parameters, the third profiled out. Mixture:
    EM. All but the first two read more than 4000 values as 2048 weighted bins of the log.
    """
    law = family(name)
    x = np.asarray(values, dtype=np.float64).ravel()
    if x.size < 2:
        raise FitError(f"{name}: expected at least 2 values above 0, got {x.size}; measure longer")
    if not (np.isfinite(x) & (x > 0)).all():
        raise InputError(f"{name}: expected finite values > 0, got {x[~(x > 0)][:1]}")
    bounds = np.empty(0) if lower_bounds is None else np.asarray(lower_bounds, float).ravel()
    bounds = bounds[bounds > 0]
    unit = float(np.exp(np.mean(np.log(x[:: max(x.size // 1000, 1)]))))  # keep powers in range
    if bounds.size:
        parameters = _fit_censored(law, x / unit, bounds / unit)
    elif start is not None and not law.scipy_name:
        weight, sigma1, scale1, sigma2, scale2 = start
        means = np.log(scale1 / unit), np.log(scale2 / unit)
        theta = np.array([weight, means[0], sigma1, means[1], sigma2])
        none = np.zeros(0)
        parameters = _em(*_compressed(x / unit, None), none, none, theta)[1]
    else:
        parameters = _ESTIMATORS[name](x / unit, None)
    parameters = _rescaled(law, parameters, unit)
    likelihood = float(law.log_density(x, parameters).sum())
    if bounds.size:
        likelihood += float(log_survival(law, bounds, parameters).sum())
    return FittedFamily(
        name=name,
        parameters=parameters,
        log_likelihood=likelihood,
        n_values=int(x.size),
        n_lower_bounds=int(bounds.size),
    )


def _rescaled(law: Family, parameters: tuple[float, ...], unit: float) -> tuple[float, ...]:
    """Parameters of x from those of x / unit: only scales change."""
    return tuple(
        float(value * unit if name.startswith("scale") else value)
        for name, value in zip(law.parameters, parameters, strict=True)
    )


def _lognormal(x: "NDArray[np.float64]", w: "NDArray[np.float64] | None") -> tuple[float, ...]:
    log_x = np.log(x)
    mean = np.average(log_x, weights=w)
    log_x -= mean
    variance = np.average(log_x * log_x, weights=w)
    return max(float(np.sqrt(variance)), MIN_SIGMA), float(np.exp(mean))


def _gamma(x: "NDArray[np.float64]", w: "NDArray[np.float64] | None") -> tuple[float, ...]:
    """Newton on 1 / shape (T. Minka, "Estimating a Gamma distribution", 2002, eq. 10)."""
    mean = np.average(x, weights=w)
    gap = max(float(np.log(mean) - np.average(np.log(x), weights=w)), 0.5 * MIN_SIGMA**2)
    shape = (3 - gap + np.sqrt((gap - 3) ** 2 + 24 * gap)) / (12 * gap)
    for _ in range(_MAX_STEPS):
        slope = shape**2 * (1 / shape - polygamma(1, shape))
        new = 1 / (1 / shape + (np.log(shape) - digamma(shape) - gap) / slope)
        done = abs(new - shape) < _TOLERANCE * shape
        shape = new
        if done:
            break
    return float(shape), float(mean / shape)


def _weibull(x: "NDArray[np.float64]", w: "NDArray[np.float64] | None") -> tuple[float, ...]:
    """Newton on the shape k: sum(x^k log x) / sum(x^k) - 1 / k = mean(log x)."""
    log_x, weight = _compressed(x, w)
    mean = weight @ log_x
    centred = log_x - mean
    spread = max(float(np.sqrt(weight @ (centred * centred))), MIN_SIGMA)
    shape = np.pi / np.sqrt(6) / spread  # of a Weibull with this spread of logarithms
    largest = centred.max()
    for _ in range(_MAX_STEPS):
        power = weight * np.exp(shape * (centred - largest))
        total = power.sum()
        first = power @ centred / total
        second = power @ (centred * centred) / total
        step = (first - 1 / shape) / (second - first**2 + 1 / shape**2)
        new = max(shape - step, 0.2 * shape)
        done = abs(new - shape) < _TOLERANCE * shape
        shape = min(new, 1 / MIN_SIGMA)
        if done:
            break
    mean_power = weight @ np.exp(shape * (centred - largest))
    return float(shape), float(np.exp(mean + largest + np.log(mean_power) / shape))


def _log_logistic(x: "NDArray[np.float64]", w: "NDArray[np.float64] | None") -> tuple[float, ...]:
    c, _, scale = _burr_newton(*_compressed(x, w), free_d=False)
    return c, scale


def _burr12(x: "NDArray[np.float64]", w: "NDArray[np.float64] | None") -> tuple[float, ...]:
    return _burr_newton(*_compressed(x, w), free_d=True)


def _burr_newton(
    log_x: "NDArray[np.float64]", w: "NDArray[np.float64]", *, free_d: bool
) -> tuple[float, float, float]:
    """Newton in (log c, log scale), damped until the likelihood grows; d profiled out or 1."""
    mean = w @ log_x
    spread = max(float(np.sqrt(w @ (log_x - mean) ** 2)), MIN_SIGMA)

    def state(theta: "NDArray[np.float64]") -> tuple[float, "NDArray[np.float64]", float]:
        c = np.exp(theta[0])
        z = c * (log_x - theta[1])
        soft = np.logaddexp(0.0, z)
        mean_soft = w @ soft
        d = float(np.clip(1 / mean_soft, 1e-3, 1e3)) if free_d else 1.0
        rise = np.exp(z - soft)  # logistic function of z
        value = theta[0] + np.log(d) + w @ z - (d + 1) * mean_soft
        gradient = np.array([1 + w @ z - (d + 1) * (w @ (rise * z)), -c + c * (d + 1) * (w @ rise)])
        return float(value), gradient, d

    theta = np.array([np.log(np.pi / np.sqrt(3) / spread), mean])
    value, gradient, d = state(theta)
    for _ in range(_MAX_STEPS):
        step = _ascent_step(lambda t: state(t)[1], theta, gradient, spread)
        for _ in range(30):
            new_value, new_gradient, new_d = state(theta + step)
            if new_value >= value:
                break
            step = step * 0.5
        gain = new_value - value
        if gain < 0:
            break
        theta, value, gradient, d = theta + step, new_value, new_gradient, new_d
        theta[0] = min(theta[0], -np.log(MIN_SIGMA))
        if gain < _TOLERANCE and np.abs(step).max() < 1e-6:
            break
    return float(np.exp(theta[0])), d, float(np.exp(theta[1]))


def _ascent_step(
    gradient_at: "Callable[[NDArray[np.float64]], NDArray[np.float64]]",
    theta: "NDArray[np.float64]",
    gradient: "NDArray[np.float64]",
    spread: float,
) -> "NDArray[np.float64]":
    """Newton's step with a Hessian by differences, bent upwards where it is not concave."""
    h = np.array([1e-5, 1e-5 * spread])
    columns = [
        (gradient_at(theta + e) - gradient_at(theta - e)) / (2 * h[i])
        for i, e in enumerate(np.diag(h))
    ]
    hessian = np.array(columns)
    values, vectors = np.linalg.eigh(0.5 * (hessian + hessian.T))
    step = vectors @ ((vectors.T @ gradient) / np.maximum(np.abs(values), 1e-8))
    limit = np.array([0.7, 2.0 * spread])
    return step / max(float(np.max(np.abs(step) / limit)), 1.0)


def _compressed(
    x: "NDArray[np.float64]", w: "NDArray[np.float64] | None"
) -> "tuple[NDArray[np.float64], NDArray[np.float64]]":
    """Logarithms and weights that sum to 1; many values become bins of equal width."""
    log_x = np.log(x)
    weight = np.full(x.size, 1.0) if w is None else w
    if x.size > _COMPRESS_ABOVE:
        low, high = log_x.min(), log_x.max()
        index = ((log_x - low) * (_N_BINS / max(high - low, 1e-12))).astype(np.int64)
        index = np.minimum(index, _N_BINS - 1)
        total = np.bincount(index, weight, _N_BINS)
        used = total > 0
        log_x = (np.bincount(index, weight * log_x, _N_BINS)[used]) / total[used]
        weight = total[used]
    return log_x, weight / weight.sum()


def _two_lognormals(x: "NDArray[np.float64]", w: "NDArray[np.float64] | None") -> tuple[float, ...]:
    return _mixture_em(*_compressed(x, w), np.zeros(0), np.zeros(0))


def _mixture_em(
    y: "NDArray[np.float64]",
    w: "NDArray[np.float64]",
    bounds: "NDArray[np.float64]",
    w_bounds: "NDArray[np.float64]",
) -> tuple[float, ...]:
    """EM on logarithms, the best of three splits as a start; `bounds` are lower bounds."""
    order = np.argsort(y)
    ranks = np.cumsum(w[order]) / w.sum()
    cuts = y[order][np.minimum(np.searchsorted(ranks, (0.2, 0.5, 0.8)), y.size - 1)]
    starts = [_split_start(y, w, y <= cut) for cut in cuts]
    return max(_em(y, w, bounds, w_bounds, start) for start in starts)[1]


def _em(
    y: "NDArray[np.float64]",
    w: "NDArray[np.float64]",
    bounds: "NDArray[np.float64]",
    w_bounds: "NDArray[np.float64]",
    theta: "NDArray[np.float64]",
) -> tuple[float, tuple[float, ...]]:
    """Log likelihood and (weight, sigma1, scale1, sigma2, scale2) after EM from `theta`."""
    value = -np.inf
    for _ in range(300):
        new, value = _em_step(y, w, bounds, w_bounds, theta)
        done = np.max(np.abs(new - theta)) < 1e-5
        theta = new
        if done:
            break
    weight, mean1, sigma1, mean2, sigma2 = theta.tolist()
    return value, (weight, sigma1, float(np.exp(mean1)), sigma2, float(np.exp(mean2)))


def _split_start(
    y: "NDArray[np.float64]", w: "NDArray[np.float64]", is_low: "NDArray[np.bool_]"
) -> "NDArray[np.float64]":
    """Weight, then mean and sigma of each part of a split in two."""
    theta = [float(np.clip(w[is_low].sum() / w.sum(), 0.05, 0.95))]
    for part in (is_low, ~is_low):
        chosen = part if w[part].sum() > 0 else np.ones_like(part)
        mean = np.average(y[chosen], weights=w[chosen])
        variance = np.average((y[chosen] - mean) ** 2, weights=w[chosen])
        theta += [float(mean), max(float(np.sqrt(variance)), 0.05)]
    return np.array(theta)


def _em_step(
    y: "NDArray[np.float64]",
    w: "NDArray[np.float64]",
    bounds: "NDArray[np.float64]",
    w_bounds: "NDArray[np.float64]",
    theta: "NDArray[np.float64]",
) -> "tuple[NDArray[np.float64], float]":
    """One step: new (weight, mean1, sigma1, mean2, sigma2) and the old log likelihood."""
    weight = np.array([[theta[0]], [1 - theta[0]]])
    mean, sigma = theta[[1, 3]][:, None], theta[[2, 4]][:, None]
    z = (y - mean) / sigma
    density = weight * np.exp(-0.5 * z * z) / sigma + 1e-300
    total = density.sum(axis=0)
    value = float(w @ np.log(total))
    r = w * density / total
    zero, one, two = r.sum(axis=1), r @ y, r @ (y * y)
    if bounds.size:
        a = (bounds - mean) / sigma
        tail = ndtr(-a) + 1e-300
        hazard = np.exp(-0.5 * a * a) / np.sqrt(2 * np.pi) / tail
        above = weight * tail
        value += float(w_bounds @ np.log(above.sum(axis=0)))
        r = w_bounds * above / above.sum(axis=0)
        first = mean + sigma * hazard  # moments of a normal known to exceed its bound
        second = mean**2 + sigma**2 + sigma * hazard * (bounds + mean)
        zero = zero + r.sum(axis=1)
        one = one + (r * first).sum(axis=1)
        two = two + (r * second).sum(axis=1)
    share = zero / zero.sum()
    means = one / zero
    sigmas = np.sqrt(np.maximum(two / zero - means**2, 0.02**2))
    new = np.array([share[0], means[0], sigmas[0], means[1], sigmas[1]])
    new[0] = np.clip(new[0], 0.05, 0.95)  # a part of a few values is no regime
    return new, value


def _fit_censored(
    law: Family, x: "NDArray[np.float64]", bounds: "NDArray[np.float64]"
) -> tuple[float, ...]:
    """Values and lower bounds together."""
    if not law.scipy_name:
        n = x.size + bounds.size
        return _mixture_em(
            np.log(x), np.full(x.size, 1 / n), np.log(bounds), np.full(bounds.size, 1 / n)
        )
    # scipy.stats takes most of a second to import, and few traces hold lower bounds
    from scipy import stats

    data = stats.CensoredData(uncensored=x, right=bounds)
    start = _ESTIMATORS[law.name](x, None)
    fitted = getattr(stats, law.scipy_name).fit(data, *start[:-1], floc=0, scale=start[-1])
    return tuple(float(v) for v in (*fitted[:-2], fitted[-1]))


_ESTIMATORS: "dict[str, Estimator]" = {
    "lognormal": _lognormal,
    "gamma": _gamma,
    "weibull": _weibull,
    "log-logistic": _log_logistic,
    "burr12": _burr12,
    "two lognormals": _two_lognormals,
}
