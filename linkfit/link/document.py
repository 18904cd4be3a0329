"""The saved form of a link model: JSON documents with every field checked on the way in."""

import base64
import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, PlainSerializer

from linkfit.errors import InputError
from linkfit.ingest.trace import Finding, Source
from linkfit.link.busy import RateEffect
from linkfit.link.daily import DailyPattern
from linkfit.link.dependence import Dependence
from linkfit.link.futures import DirectionModel
from linkfit.link.latency import LatencyModel
from linkfit.link.level import LevelSpread
from linkfit.link.marginal import FamilyScore, Marginal, Outages
from linkfit.link.series import MeasuredRuns
from linkfit.link.weekly import WeeklyPattern, unknown_week

if TYPE_CHECKING:
    from numpy.typing import NDArray

SCHEMA = "linkfit/link/1"
Finite = Annotated[float, Field(allow_inf_nan=False)]
# a source without a clock starts at no time: NaN inside, null in JSON
StartTime = Annotated[float | None, PlainSerializer(lambda value: value)]


class _Document(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class LatencyDocument(_Document):
    """Quantiles of round trips, on even probabilities."""

    idle_rtts_s: list[Finite]
    loaded_rtts_s: list[Finite] | None
    loss_frac: Finite
    n_idle: int
    n_loaded: int
    # files of earlier releases lack these
    random_loss_frac: Finite | None = None
    mean_burst_probes: Finite | None = None
    up_effect: RateEffect | None = None
    down_effect: RateEffect | None = None


class RunsDocument(_Document):
    """Seconds as base64 of little-endian float32, with the length and start of each run."""

    rates_bps_f32: str
    lengths_s: list[int]
    start_s: list[StartTime]


class MarginalDocument(_Document):
    """Rates of single seconds."""

    rates_bps: list[Finite]
    outages: Outages
    families: tuple[FamilyScore, ...]
    p_value: Finite | None
    n_seconds: int
    n_lower_bounds: int


class DailyDocument(_Document):
    """Factor by local hour."""

    factor: list[Finite]
    sigma: list[Finite]
    measured_s: list[Finite]
    n_days: int
    timezone: str
    found: bool
    days: list[Finite] | None = None  # files of earlier releases lack it


class DirectionDocument(_Document):
    """One direction."""

    runs: RunsDocument
    marginal: MarginalDocument
    dependence: Dependence
    daily: DailyDocument
    level: LevelSpread
    mean_block_s: Finite
    noise_sigma: Finite
    measured_s: Finite
    n_tests: int
    lower_bound_only: bool
    in_order: bool
    weekly: WeeklyPattern | None = None  # files of earlier releases lack it


class LinkDocument(_Document):
    """The whole file."""

    schema_name: str = Field(alias="schema")
    seed: int
    up: DirectionDocument | None
    down: DirectionDocument | None
    latency: LatencyDocument | None
    sources: tuple[Source, ...]
    findings: tuple[Finding, ...]
    missing: tuple[str, ...]


def direction_document(model: DirectionModel | None) -> DirectionDocument | None:
    """The saved form of one direction."""
    if model is None:
        return None
    runs, marginal, daily = model.runs, model.marginal, model.daily
    return DirectionDocument(
        runs=RunsDocument(
            rates_bps_f32=_encoded(runs.rates_bps),
            lengths_s=runs.lengths_s.tolist(),
            start_s=[None if np.isnan(start) else start for start in runs.start_s.tolist()],
        ),
        marginal=MarginalDocument(
            rates_bps=marginal.rates_bps.tolist(),
            outages=marginal.outages,
            families=marginal.families,
            p_value=marginal.p_value,
            n_seconds=marginal.n_seconds,
            n_lower_bounds=marginal.n_lower_bounds,
        ),
        dependence=model.dependence,
        daily=DailyDocument(
            factor=daily.factor.tolist(),
            sigma=daily.sigma.tolist(),
            measured_s=daily.measured_s.tolist(),
            n_days=daily.n_days,
            timezone=daily.timezone,
            found=daily.found,
            days=daily.days.tolist(),
        ),
        level=model.level,
        mean_block_s=model.mean_block_s,
        noise_sigma=model.noise_sigma,
        measured_s=model.measured_s,
        n_tests=model.n_tests,
        lower_bound_only=model.lower_bound_only,
        in_order=model.in_order,
        weekly=model.weekly,
    )


def direction_model(document: DirectionDocument | None) -> DirectionModel | None:
    """One direction from its saved form."""
    if document is None:
        return None
    saved, marginal, daily = document.runs, document.marginal, document.daily
    runs = MeasuredRuns(
        rates_bps=_decoded(saved.rates_bps_f32),
        first=np.concatenate(([0], np.cumsum(np.array(saved.lengths_s, dtype=np.int64)))),
        start_s=np.array([np.nan if start is None else start for start in saved.start_s]),
    )
    return DirectionModel(
        runs=runs,
        marginal=Marginal(**{**dict(marginal), "rates_bps": np.array(marginal.rates_bps)}),
        dependence=document.dependence,
        daily=DailyPattern(
            factor=np.array(daily.factor),
            sigma=np.array(daily.sigma),
            measured_s=np.array(daily.measured_s),
            n_days=daily.n_days,
            timezone=daily.timezone,
            found=daily.found,
            **({} if daily.days is None else {"days": np.array(daily.days)}),
        ),
        level=document.level,
        mean_block_s=document.mean_block_s,
        noise_sigma=document.noise_sigma,
        measured_s=document.measured_s,
        n_tests=document.n_tests,
        lower_bound_only=document.lower_bound_only,
        in_order=document.in_order,
        weekly=document.weekly or unknown_week(),
    )


def latency_document(model: LatencyModel | None) -> LatencyDocument | None:
    """The saved form of the latency."""
    if model is None:
        return None
    loaded = model.loaded_rtts_s
    return LatencyDocument(
        idle_rtts_s=model.idle_rtts_s.tolist(),
        loaded_rtts_s=None if loaded is None else loaded.tolist(),
        loss_frac=model.loss_frac,
        n_idle=model.n_idle,
        n_loaded=model.n_loaded,
        random_loss_frac=model.random_loss_frac,
        mean_burst_probes=model.mean_burst_probes,
        up_effect=model.up_effect,
        down_effect=model.down_effect,
    )


def latency_model(document: LatencyDocument | None) -> LatencyModel | None:
    """The latency from its saved form."""
    if document is None:
        return None
    loaded = document.loaded_rtts_s
    return LatencyModel(
        idle_rtts_s=np.array(document.idle_rtts_s),
        loaded_rtts_s=None if loaded is None else np.array(loaded),
        loss_frac=document.loss_frac,
        n_idle=document.n_idle,
        n_loaded=document.n_loaded,
        random_loss_frac=document.random_loss_frac,
        mean_burst_probes=document.mean_burst_probes,
        up_effect=document.up_effect,
        down_effect=document.down_effect,
    )


def write_whole(path: str | Path, text: str) -> None:
    """Write `text` to `path`, whole or not at all: a temporary file takes the old one's place."""
    target = Path(path)
    try:
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
    except OSError as error:
        raise InputError(
            f"{target}: expected a folder to write to, got {error.strerror}"
        ) from error
    temporary = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(0o644)
        temporary.replace(target)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise InputError(
            f"{target}: expected a file that can be written, got {error.strerror}"
        ) from error
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise


def _encoded(values: "NDArray[Any]") -> str:
    return base64.b64encode(values.astype("<f4").tobytes()).decode("ascii")


def _decoded(text: str) -> "NDArray[np.float64]":
    data = base64.b64decode(text, validate=True)
    return np.frombuffer(data, dtype="<f4").astype(np.float64)
