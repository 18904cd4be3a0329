"""What the times of a task depend on, to tell when they need not be computed again."""

from collections.abc import Hashable
from dataclasses import dataclass

from linkfit.forecast.busy_hour import BusyHour
from linkfit.forecast.load import StreamClass
from linkfit.forecast.sharing import FlowClass
from linkfit.site.model import PathLimits, Service, Task


@dataclass(frozen=True, slots=True)
class Meets:
    """What the times of a task depend on: the task itself, and the load that it meets.

    `loads` are (direction, flow, share of the capacity), streams included.
    """

    what: Hashable
    loads: tuple[tuple[str, FlowClass | StreamClass, float], ...]

    @classmethod
    def of(cls, service: Service, task: Task, path: PathLimits, hour: BusyHour) -> "Meets":
        """What `task` meets in `hour`, on the path of its site."""
        return cls((service, task, path, hour.rates), hour.loads)

    def apart_frac(self, other: "Meets") -> float:
        """Load that one meets and the other does not, as a share of the capacity."""
        if self.loads == other.loads:
            return 0.0
        mine, theirs = self._by_flow(), other._by_flow()
        keys = mine.keys() | theirs.keys()
        return sum(abs(mine.get(key, 0.0) - theirs.get(key, 0.0)) for key in keys)

    def _by_flow(self) -> dict[Hashable, float]:
        """Share of the capacity by direction, and by all of the flow but how often it starts."""
        return {(d, _kind(flow)): share for d, flow, share in self.loads}


def _kind(flow: FlowClass | StreamClass) -> Hashable:
    """All of a flow but how often it starts."""
    if isinstance(flow, StreamClass):
        return flow.name, flow.rate_bps, flow.duration_s
    return flow.name, flow.median_bits, flow.spread, flow.cap_bps, flow.low_priority
