"""The daily pattern: how the rate depends on the hour of the day, or that no pattern was found."""

from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from linkfit.errors import InputError
from linkfit.link.series import MeasuredRuns

if TYPE_CHECKING:
    from numpy.typing import NDArray

HOURS = 24
PIECE_S = 600  # long runs are cut into pieces this long before they are compared
MIN_DAYS = 3
MIN_HOURS = 6
ENOUGH_S = 1800.0  # of one hour, measured on fewer days: a judgement
_N_HARMONICS = 2
_RIDGES = (0.3, 1.0, 3.0, 10.0, 30.0)
# best over worst hour 1.3, 90 % range 1.0 to 2.0: a guess of common practice, since the daily
# swing of cellular uplinks was not found published; as spread of log rate between hours
UNMEASURED_SIGMA = 0.15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DailyPattern:
    """A positive factor an hour of the local day.

    Parameters
    ----------
    factor : array, shape (24,)
        Of the rate at the middle of each hour, against the rate of any measured time; all 1
        where no pattern was found.
    sigma : array, shape (24,)
        Standard deviation of the logarithm of `factor`: what is unknown of it.
    measured_s : array, shape (24,)
        Seconds measured in each hour; all 0 without a clock. [s]
    n_days : int
        Local days with measurements; 0 without a clock.
    timezone : str
        Whose hours these are.
    found : bool
        Did the pattern predict days that the fit had not seen better than a flat line?
    days : array, shape (24,)
        Local days on which each hour was measured; a saved link of an earlier release has none.
    """

    factor: "NDArray[np.float64]"
    sigma: "NDArray[np.float64]"
    measured_s: "NDArray[np.float64]"
    n_days: int
    timezone: str
    found: bool
    days: "NDArray[np.float64]" = field(default_factory=lambda: np.zeros(HOURS))

    def __post_init__(self) -> None:
        for name in ("factor", "sigma", "measured_s", "days"):
            array = np.ascontiguousarray(getattr(self, name), dtype=np.float64).view()
            if array.shape != (HOURS,) or not np.isfinite(array).all():
                raise InputError(f"{name}: expected 24 finite numbers, got shape {array.shape}")
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        if not (self.factor > 0).all():
            raise InputError(f"factor: expected numbers > 0, got {self.factor.min():g}")

    @property
    def hours_never_measured(self) -> tuple[int, ...]:
        """Hours of the local day without any measurement."""
        return tuple(int(hour) for hour in np.flatnonzero(self.measured_s == 0))

    @property
    def hours_known(self) -> tuple[int, ...]:
        """Hours of the local day that were measured for more than some minutes of one visit."""
        enough = (self.days >= MIN_DAYS) | (self.measured_s >= ENOUGH_S)
        return tuple(int(hour) for hour in np.flatnonzero(enough & (self.measured_s > 0)))

    def factor_at(self, hour: "NDArray[np.float64]") -> "NDArray[np.float64]":
        """The factor at any local hour, linear between the middles of hours."""
        return _around_the_clock(self.factor, hour)

    def sigma_at(self, hour: float) -> float:
        """What is unknown of the factor at a local hour. [1]"""
        return float(_around_the_clock(self.sigma, np.array([hour]))[0])


def fit_daily(runs: MeasuredRuns, timezone: str) -> DailyPattern:
    """The daily pattern of `runs`, shrunk towards none.

    Notes
    -----
    Logarithms of the means of pieces of at most 10 minutes, less the mean of their day, on two
    harmonics of 24 h with a ridge penalty. The penalty is the one that predicts each day best
    from the other days; if a flat line does, there is no pattern. At least 3 days and 6
    different hours are needed; with fewer, an hour that was measured is the record's own as far
    as it makes up the record.
    """
    zone = zone_of(timezone)
    clocked = np.isfinite(runs.start_s)
    measured_s = np.zeros(HOURS)
    pieces = clocked_pieces(runs, clocked)
    hour, day = local_hours_and_days(pieces[0], zone)
    np.add.at(measured_s, hour.astype(np.int64) % HOURS, pieces[2])
    n_days = int(np.unique(day).size)
    visits = np.unique(np.stack((day, hour.astype(np.int64) % HOURS)), axis=1)
    flat = DailyPattern(
        factor=np.ones(HOURS),
        sigma=_untold_sigma(measured_s),
        days=np.bincount(visits[1], minlength=HOURS).astype(np.float64),
        measured_s=measured_s,
        n_days=n_days,
        timezone=timezone,
        found=False,
    )
    if n_days < MIN_DAYS or np.count_nonzero(measured_s) < MIN_HOURS:
        return flat
    return _fit(pieces, hour, day, flat)


def _fit(
    pieces: "tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]",
    hour: "NDArray[np.float64]",
    day: "NDArray[np.int64]",
    flat: DailyPattern,
) -> DailyPattern:
    """The best ridge fit, or `flat` with the spread that a flat line leaves."""
    _, mean_bps, length_s = pieces
    floor_bps = 0.01 * float(np.average(mean_bps, weights=length_s)) or 1.0
    sums = _day_sums(hour, np.log(np.maximum(mean_bps, floor_bps)), length_s, day)
    error = {np.inf: float(sums.squares.sum())}
    gram, product = sums.gram.sum(axis=0), sums.product.sum(axis=0)
    for ridge in _RIDGES:
        others = gram - sums.gram + ridge * np.eye(gram.shape[0])
        beta = np.linalg.solve(others, (product - sums.product)[:, :, None])[:, :, 0]
        fitted = np.einsum("di,dij,dj->", beta, sums.gram, beta)
        error[ridge] = error[np.inf] - 2 * float(np.sum(beta * sums.product)) + float(fitted)
    best = min(error, key=lambda ridge: error[ridge])
    # 2 % less error than a flat line is within what chance gives on a dozen days
    found = bool(best < np.inf and error[best] < 0.98 * error[np.inf])
    penalised = gram + (best if found else max(_RIDGES)) * np.eye(gram.shape[0])
    grid = _basis(np.linspace(0.5, HOURS - 0.5, HOURS))
    log_factor = grid @ np.linalg.solve(penalised, product) if found else np.zeros(HOURS)
    # neighbouring pieces are alike: days, not pieces, count as independent
    variance = min(error[best], error[np.inf]) / (4.0 * flat.n_days)
    spread = np.einsum("hi,ij,hj->h", grid, np.linalg.inv(penalised), grid)
    told = np.maximum(variance * spread, 0.0)
    known = np.minimum(np.sqrt(told), UNMEASURED_SIGMA)
    # where nothing was measured the curve is a guess, and its own error adds to that
    sigma = np.where(flat.measured_s > 0, known, np.sqrt(told + flat.sigma**2))
    factor = np.exp(log_factor)
    # against the rate of any measured time: hours count as much as they were measured
    factor /= np.average(factor, weights=flat.measured_s)
    return replace(flat, factor=factor, sigma=sigma, found=found)


def _untold_sigma(measured_s: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """What is unknown of each hour against the mean of the measured ones, shape (24,). [1]

    Were hours independent with a spread of `UNMEASURED_SIGMA`: an hour that makes up all of the
    record differs from it by nothing, one outside the record by its own deviation and that of
    the record's mean.
    """
    total_s = float(measured_s.sum())
    weight = measured_s / total_s if total_s else measured_s
    return UNMEASURED_SIGMA * np.sqrt(np.maximum(1.0 - 2.0 * weight + float(weight @ weight), 0.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _DaySums:
    """Each day's own weighted sums about its mean: of x x', x y and y y; first axis days."""

    gram: "NDArray[np.float64]"
    product: "NDArray[np.float64]"
    squares: "NDArray[np.float64]"


def _day_sums(
    hour: "NDArray[np.float64]",
    value: "NDArray[np.float64]",
    length_s: "NDArray[np.float64]",
    day: "NDArray[np.int64]",
) -> _DaySums:
    weights = length_s / length_s.mean()
    order = np.argsort(day, kind="stable")
    cuts = np.flatnonzero(np.diff(day[order])) + 1
    x = _basis(hour)
    gram, product, squares = [], [], []
    for rows in np.split(order, cuts):
        share = weights[rows] / weights[rows].sum()
        columns = x[rows] - share @ x[rows]
        y = value[rows] - share @ value[rows]
        weighted = columns * weights[rows, None]
        gram.append(weighted.T @ columns)
        product.append(weighted.T @ y)
        squares.append(float(weights[rows] @ y**2))
    return _DaySums(gram=np.array(gram), product=np.array(product), squares=np.array(squares))


def _basis(hour: "NDArray[np.float64]") -> "NDArray[np.float64]":
    angle = 2 * np.pi / HOURS * np.asarray(hour)[:, None] * np.arange(1, _N_HARMONICS + 1)
    return np.hstack((np.cos(angle), np.sin(angle)))


def clocked_pieces(
    runs: MeasuredRuns, keep: "NDArray[np.bool_]"
) -> "tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]":
    """Middle [s since 1970], mean rate [bit/s] and length [s] of pieces of the kept runs."""
    start, length, first = [np.empty(0)], [np.empty(0)], [np.empty(0, dtype=np.int64)]
    for run in np.flatnonzero(keep):
        low, high = int(runs.first[run]), int(runs.first[run + 1])
        cuts = np.arange(low, high, PIECE_S)
        first.append(cuts)
        length.append(np.diff(np.append(cuts, high)).astype(np.float64))
        start.append(runs.start_s[run] + (cuts - low))
    begin, size = np.concatenate(first), np.concatenate(length)
    if not begin.size:
        return begin.astype(np.float64), begin.astype(np.float64), size
    # runs that were not kept fall into the piece before them: end each piece where it ends
    edges = np.stack((begin, begin + size.astype(np.int64)), axis=1).ravel()
    inside = edges[:-1] if edges[-1] == runs.rates_bps.size else edges
    mean_bps = np.add.reduceat(runs.rates_bps, inside)[::2] / size
    return np.concatenate(start) + size / 2, mean_bps, size


def local_hours(time_s: "NDArray[np.float64]", timezone: str) -> "NDArray[np.float64]":
    """Local hour of the day, in [0, 24), of times since 1970-01-01 UTC. [h]"""
    return local_hours_and_days(time_s, zone_of(timezone))[0]


def local_hours_and_days(
    time_s: "NDArray[np.float64]", zone: ZoneInfo
) -> "tuple[NDArray[np.float64], NDArray[np.int64]]":
    """Local hour in [0, 24) and local day since 1970-01-01 of times in UTC.

    The offset is looked up once an UTC hour.
    """
    whole, index = np.unique((time_s // 3600).astype(np.int64), return_inverse=True)
    offsets = []
    for hour in whole.tolist():
        offset = datetime.fromtimestamp(hour * 3600, tz=zone).utcoffset()
        offsets.append(offset.total_seconds() if offset is not None else 0.0)
    local_s = time_s + np.array(offsets)[index] if whole.size else time_s
    day = np.floor(local_s / 86400).astype(np.int64)
    return (local_s - 86400.0 * day) / 3600.0, day


def zone_of(timezone: str) -> ZoneInfo:
    """The time zone of a name such as "Europe/Lisbon"."""
    try:
        return ZoneInfo(timezone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise InputError(
            f"timezone: expected a name such as 'Europe/Lisbon', got {timezone!r}"
        ) from error


def _around_the_clock(
    values: "NDArray[np.float64]", hour: "NDArray[np.float64]"
) -> "NDArray[np.float64]":
    middles = np.arange(-1, HOURS + 1) + 0.5
    wrapped = np.concatenate((values[-1:], values, values[:1]))
    return np.interp(np.asarray(hour) % HOURS, middles, wrapped)
