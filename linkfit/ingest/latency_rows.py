"""Round trips in the rows of a table: single probes, bursts, and bursts that all were lost."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from linkfit.ingest.columns import Column
from linkfit.ingest.growing import GrowingColumn
from linkfit.ingest.notes import Notes
from linkfit.ingest.plan import TablePlan
from linkfit.ingest.trace import LatencySamples

_NAMES = ("time_s", "rtt_s", "spread_s", "loss_frac", "n_probes", "n_lost", "busy_bps")
_MAX_RTT_S = 600.0  # a reply after ten minutes is a damaged cell
_MOST_PROBES = 100  # as fine as loss in whole percent
_BUSY_SHARE = 0.5  # a row is busy where it carries half of what the busiest carry
_BUSIEST = 0.99
_LEAST_BUSY_BPS = 1e6  # a link that never carries this much tells nothing of its queue


class LatencyRows:
    """Collects round trips chunk by chunk; what needs all values is decided at the end."""

    def __init__(self, plan: TablePlan, notes: Notes, n_rows_expected: int) -> None:
        self._plan, self._notes = plan, notes
        self._columns = {name: GrowingColumn(np.float64, n_rows_expected) for name in _NAMES}
        self._loaded = GrowingColumn(np.bool_, n_rows_expected)

    def add(
        self,
        chunk: pd.DataFrame,
        start_s: NDArray[np.float64],
        timed: NDArray[np.bool_],
        busy_bps: NDArray[np.float64],
    ) -> None:
        """Take the rows that hold a round trip or a loss."""
        rtt, loss, lost = (self._plan.find(role) for role in ("rtt", "loss", "n_lost"))
        if rtt is None and loss is None and lost is None:
            return
        values = {
            "time_s": start_s,
            "rtt_s": self._numbers(chunk, rtt),
            "spread_s": self._numbers(chunk, self._plan.find("rtt_spread")),
            "loss_frac": self._numbers(chunk, loss),
            "n_probes": self._numbers(chunk, self._plan.find("n_probes")),
            "n_lost": self._numbers(chunk, lost),
            "busy_bps": busy_bps,
        }
        n = int(np.count_nonzero(timed))
        for name, column in self._columns.items():
            column.append(values[name][timed], n)
        loaded = self._plan.find("loaded")
        if loaded is not None:
            words = chunk[loaded.index].astype("str").str.strip().str.lower()
            self._loaded.append(words.isin(("true", "yes", "y", "1", "1.0")).to_numpy()[timed], n)

    def finish(self) -> LatencySamples:
        """All round trips, in the order of the file."""
        values = {name: column.finish() for name, column in self._columns.items()}
        n = values["time_s"].size
        if n == 0:
            return LatencySamples()
        n_probes, n_lost = self._counts(values)
        all_lost = n_lost >= n_probes
        measured = np.isfinite(values["rtt_s"]) & (values["rtt_s"] > 0)
        keep = self._kept(values["rtt_s"], measured, all_lost)
        rtt_s = np.where(all_lost, np.inf, values["rtt_s"])
        spread_s = np.nan_to_num(values["spread_s"], nan=0.0)
        loaded = self._loaded.finish() if self._plan.find("loaded") else self._busy(values, keep)
        return LatencySamples(
            time_s=values["time_s"][keep],
            rtt_s=rtt_s[keep],
            spread_s=np.where(all_lost, 0.0, np.maximum(spread_s, 0.0))[keep],
            n_probes=n_probes[keep],
            n_lost=n_lost[keep],
            loaded=loaded[keep],
            source=np.broadcast_to(0, (int(keep.sum()),)),
        )

    def _numbers(self, chunk: pd.DataFrame, column: Column | None) -> NDArray[np.float64]:
        if column is None:
            return np.broadcast_to(np.float64(np.nan), (len(chunk),))
        return chunk[column.index].to_numpy(np.float64) * (column.factor or 1.0)

    def _kept(
        self,
        rtt_s: NDArray[np.float64],
        measured: NDArray[np.bool_],
        all_lost: NDArray[np.bool_],
    ) -> NDArray[np.bool_]:
        """Rows that say something: a round trip that can be, or that every probe was lost."""
        impossible = measured & (rtt_s > _MAX_RTT_S)
        zero = np.isfinite(rtt_s) & (rtt_s <= 0) & ~all_lost
        self._notes.repair(
            "impossible round trip",
            int(impossible.sum() + zero.sum()),
            "{n} round trips are 0, negative or above 10 minutes; left out as not measured",
        )
        missing = np.isnan(rtt_s) & ~all_lost
        self._notes.find(
            "not measured: round trip",
            int(missing.sum()),
            "{n} rows hold no round trip and do not say that it was lost; left out",
        )
        return all_lost | (measured & ~impossible)

    def _counts(
        self, values: dict[str, NDArray[np.float64]]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Probes sent and lost in each row, from counts or from a share."""
        n_probes = values["n_probes"]
        share = self._loss_frac(values["loss_frac"], n_probes)
        if self._plan.find("n_probes") is None:
            least = self._fewest_probes(share) if self._plan.find("loss") else 1
            n_probes = np.full(share.size, float(least))
        n_probes = np.maximum(np.nan_to_num(n_probes, nan=1.0), 1.0)
        if self._plan.find("n_lost") is not None:
            n_lost = np.nan_to_num(values["n_lost"], nan=0.0)
        else:
            n_lost = np.rint(np.nan_to_num(share, nan=0.0) * n_probes)
        n_lost = np.clip(n_lost, 0, n_probes)
        return np.rint(n_probes).astype(np.int64), np.rint(n_lost).astype(np.int64)

    def _loss_frac(
        self, loss_share: NDArray[np.float64], n_probes: NDArray[Any]
    ) -> NDArray[np.float64]:
        """Loss as a fraction, whether the column says percent, fraction or nothing."""
        column = self._plan.find("loss")
        if column is None:
            return loss_share
        known = loss_share[np.isfinite(loss_share)]
        highest = float(known.max()) if known.size else 0.0
        factor = 1.0
        if column.factor is None:  # `loss_share` came through with factor 1
            percent = highest > 1 or self._steps_are_percent(known, n_probes)
            factor = 0.01 if percent else 1.0
            unit = "percent" if percent else "a fraction"
            self._notes.find(
                f"unit taken: {column.name}",
                1,
                f"column {column.name!r} states no unit; its highest value {highest:g} makes "
                f"it {unit}",
            )
        share = loss_share * factor
        wrong = (share < 0) | (share > 1)
        self._notes.repair(
            "impossible loss",
            int(wrong.sum()),
            "{n} loss shares lie outside 0 to 100 %; left out as not measured",
        )
        return np.where(wrong, np.nan, share)

    def _steps_are_percent(self, loss_share: NDArray[np.float64], n_probes: NDArray[Any]) -> bool:
        """Whether the smallest loss is one probe in percent, where their number is known."""
        sent = n_probes[np.isfinite(n_probes)]
        lossy = loss_share[loss_share > 0]
        if not lossy.size or not sent.size:
            return False
        one_probe_percent = 100.0 / float(sent.max())
        return bool(np.allclose(lossy / one_probe_percent, np.rint(lossy / one_probe_percent)))

    def _fewest_probes(self, share: NDArray[np.float64]) -> int:
        """The fewest probes a row that explain all loss shares as whole numbers lost."""
        lossy = np.unique(share[np.isfinite(share) & (share > 0)])
        if not lossy.size:
            return 1
        n = next(
            (
                n
                for n in range(1, _MOST_PROBES)
                if np.allclose(lossy * n, np.rint(lossy * n), atol=0.01)
            ),
            _MOST_PROBES,
        )
        self._notes.find(
            "probes taken",
            1,
            f"no column says how many probes a row stands for; its loss shares are read as of {n}",
        )
        return n

    def _busy(
        self, values: dict[str, NDArray[np.float64]], keep: NDArray[np.bool_]
    ) -> NDArray[np.bool_]:
        """Rows whose rates, measured beside the round trip, show a busy link."""
        busy_bps = values["busy_bps"]
        limit_bps = _BUSY_SHARE * float(np.quantile(np.nan_to_num(busy_bps), _BUSIEST))
        if limit_bps < _LEAST_BUSY_BPS:
            return np.zeros(busy_bps.size, dtype=np.bool_)
        loaded = np.nan_to_num(busy_bps) >= limit_bps
        rtt_s = values["rtt_s"]
        self._notes.find(
            "loaded rows",
            int((loaded & keep).sum()),
            "{n} round trips were taken while the rates beside them were at least half of the "
            "busiest: counted as loaded",
        )
        if (loaded & keep).any() and (~loaded & keep).any():
            lower = np.median(rtt_s[loaded & keep]) < np.median(rtt_s[~loaded & keep])
            self._notes.find(
                "lower under load",
                int(lower),
                "round trips are shorter while the link is busy than while it idles (an idle "
                "link waits for its turn to send): idle ones are not the least there is",
            )
        return loaded
