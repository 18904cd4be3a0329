"""What the times of a task depend on, to tell when they need not be computed again."""

from collections.abc import Hashable
from dataclasses import dataclass

from linkfit.forecast.sharing import FlowClass
from linkfit.forecast.task_times import BusyHour
from linkfit.site.model import PathLimits, Service, Task


@dataclass(frozen=True, slots=True)
class Meets:
    """What the times of a task depend on: the task itself, and the load that it meets.

    `loads` are (direction, flow, share of the capacity), streams included.
    """

    what: Hashable
    loads: tuple[tuple[str, FlowClass | None, float], ...]

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
        return {(d, flow and _kind(flow)): share for d, flow, share in self.loads}


def _kind(flow: FlowClass) -> Hashable:
    """All of a flow but how often it starts."""
    return flow.name, flow.median_bits, flow.spread, flow.cap_bps, flow.low_priority
