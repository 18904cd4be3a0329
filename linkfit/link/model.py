"""LinkModel: what the link is like, and the futures that follow from it."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count, non_negative, one_of, positive
from linkfit.errors import FitError, InputError
from linkfit.ingest.trace import DIRECTIONS, Finding, Source, Trace
from linkfit.link.document import (
    SCHEMA,
    LinkDocument,
    direction_document,
    latency_document,
    write_whole,
)
from linkfit.link.futures import DirectionModel, draw_paths
from linkfit.link.latency import LatencyModel, latency_prior
from linkfit.link.model_table import ShownLink
from linkfit.link.now import draw_paths_now
from linkfit.link.paths import CapacityPaths
from linkfit.link.recent import recent_rates

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LinkModel(ShownLink):
    """The link as measured: each direction, latency, what was noticed and what is missing.

    `missing` says in words which measurements would help most and roughly what they would cost
    in data; `seed` is the one the fit was made with.
    """

    up: DirectionModel | None
    down: DirectionModel | None
    latency: LatencyModel | None
    sources: tuple[Source, ...] = ()
    findings: tuple[Finding, ...] = ()
    missing: tuple[str, ...] = ()
    seed: int = 0

    def direction(self, name: str) -> DirectionModel:
        """The model of "up" or "down".

        Raises
        ------
        FitError
            If that direction was never measured.
        """
        model = self.up if one_of("direction", name, DIRECTIONS) == "up" else self.down
        if model is None:
            raise FitError(
                f"{name}: expected at least one measurement of this direction, got none; "
                f"measure it (a 10 s test costs 1.25 MB per Mbit/s) or give its rate by hand"
            )
        return model

    def paths(
        self,
        direction: str,
        *,
        horizon_s: float,
        n_draws: int,
        rng: "Generator",
        n_worlds: int = 20,
        step_s: float = 1.0,
        hour: float | None = None,
        recent: Trace | None = None,
        recent_age_s: float = 0.0,
    ) -> CapacityPaths:
        """Possible futures of one direction, at the IP layer.

        Parameters
        ----------
        direction : {"up", "down"}
            Of the link.
        horizon_s, step_s : float
            Length of a future and of its steps; coarse steps are sums of the same fine
            process. [s]
        n_draws, n_worlds : int
            Futures, split evenly over worlds: one draw each of what is unknown of the link.
        hour : float, optional
            Local hour of the day at which the futures start, in [0, 24]; None: any time that
            was measured. [h]
        recent : Trace, optional
            The last minutes of this direction: the futures then start `recent_age_s` seconds
            after its last sample, not at any time. Nothing but its last 60 measured seconds is
            read; where it has a clock and the link a daily pattern, `hour` follows from it.

        Raises
        ------
        FitError
            If that direction was never measured.
        InputError
            If a number is out of range, or `recent` holds nothing of this direction.
        """
        model = self.direction(direction)
        n_draws = count("n_draws", n_draws)
        if hour is not None and not 0 <= hour <= 24:
            raise InputError(f"hour: expected an hour from 0 to 24, got {hour:g}")
        n_worlds = min(count("n_worlds", n_worlds), n_draws)
        horizon_s, step_s = positive("horizon_s", horizon_s), positive("step_s", step_s)
        age_s = non_negative("recent_age_s", recent_age_s)
        if recent is None:
            return draw_paths(
                model, horizon_s=horizon_s, n_draws=n_draws, rng=rng, n_worlds=n_worlds,
                step_s=step_s, hour=hour,
            )  # fmt: skip
        return draw_paths_now(
            model, recent_rates(recent, direction, self.latency), recent_age_s=age_s,
            horizon_s=horizon_s, n_draws=n_draws, rng=rng, n_worlds=n_worlds, step_s=step_s,
            hour=hour,
        )  # fmt: skip

    def draw_rtts_s(
        self,
        n: int,
        rng: "Generator",
        *,
        loaded: bool = False,
        rates_bps: "ArrayLike | None" = None,
        direction: str = "up",
    ) -> "NDArray[np.float64]":
        """`n` round trips of this link, or of cellular links in general if never measured. [s]

        The arguments are those of `LatencyModel.draw_rtts_s`.
        """
        return (self.latency or latency_prior()).draw_rtts_s(
            n, rng, loaded=loaded, rates_bps=rates_bps, direction=direction
        )

    @property
    def loss_frac(self) -> float:
        """Share of probes lost; 0 if latency was never measured. [fraction]"""
        return self.latency.loss_frac if self.latency is not None else 0.0

    def buffer_bytes(self, direction: str) -> float | None:
        """Queue before the link, (busy - idle round trip) x rate; None if unknown. [bytes]"""
        if self.latency is None or self.latency.loaded_rtts_s is None:
            return None
        middle = self.latency.loaded_rtts_s.size // 2
        queue_s = self.latency.loaded_rtts_s[middle] - self.latency.idle_rtts_s[middle]
        return max(float(queue_s), 0.0) * self.direction(direction).mean_rate_bps / 8.0

    def save(self, path: str | Path) -> None:
        """Write the model as one JSON file, whole or not at all.

        Raises
        ------
        InputError
            If the file cannot be written.
        """
        document = LinkDocument(
            schema=SCHEMA,
            seed=self.seed,
            up=direction_document(self.up),
            down=direction_document(self.down),
            latency=latency_document(self.latency),
            sources=self.sources,
            findings=self.findings,
            missing=self.missing,
        )
        write_whole(path, document.model_dump_json(by_alias=True, indent=1) + "\n")
