"""What the caller says about files that do not say it themselves."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from linkfit._checks import one_of, positive
from linkfit.errors import InputError
from linkfit.ingest.trace import DIRECTIONS, TRANSPORTS

Progress = Callable[[str, int, int], None]  # file name, bytes read, bytes in all


def no_progress(_name: str, _done_bytes: int, _all_bytes: int) -> None:
    """Nobody watches."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadOptions:
    """Everything a caller may say about the files; None means that the file must say it.

    `columns` maps a header name, or a position counted from 1, to a role; `units` maps a header
    name, a position or a role to a unit. `step_s` is the length of one row where no column
    tells it.
    """

    direction: str | None = None
    columns: Mapping[str | int, str] = field(default_factory=dict)
    units: Mapping[str | int, str] = field(default_factory=dict)
    timezone: str = "UTC"
    saturating: bool | None = None
    transport: str | None = None
    step_s: float | None = None
    progress: Progress = no_progress

    def __post_init__(self) -> None:
        if self.direction is not None:
            one_of("direction", self.direction, DIRECTIONS)
        if self.transport is not None:
            one_of("transport", self.transport, TRANSPORTS)
        if self.step_s is not None:
            positive("step_s", self.step_s)
        try:
            ZoneInfo(self.timezone)
        except (ZoneInfoNotFoundError, ValueError, OSError) as error:
            raise InputError(
                f"timezone: expected a name such as 'Europe/Lisbon' or 'UTC', got {self.timezone!r}"
            ) from error
