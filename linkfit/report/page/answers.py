"""The headline answers of a report as a record that the page carries, so that a later one compares.

Numbers carry what each draw of the unknown link makes of them, without which no later report
could tell a difference from what both reports leave open.
"""

import math
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from linkfit.errors import ArtifactError
from linkfit.plain import harmless
from linkfit.report.page.embedded import damaged

SCHEMA = "linkfit/report-answers/1"
ELEMENT_ID = "report-answers"
KINDS = ("link", "data", "backlog", "task")
_MOST = 5000  # of a list in a page: far more than any report has
_MOST_WORLDS = 200  # pairs of them are compared

Value = Annotated[float, Field(allow_inf_nan=False)] | None


class _Record(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class ToldNumber(_Record):
    """One number with the 90 % interval on it; None is never.

    `kind` is one of `KINDS`, `name` what it is of; `worlds` is what each draw of the unknown link
    makes of it. All in `unit`.
    """

    kind: str
    name: str
    what: str
    unit: str
    value: Value
    low: Value
    high: Value
    worlds: Annotated[tuple[Value, ...], Field(min_length=1, max_length=_MOST_WORLDS, strict=False)]


class ToldService(_Record):
    """A verdict, and the share in time of the slowest promised task with its 90 % interval.

    `slowest` is that task as the numbers name it, "" without one.
    """

    name: str
    verdict: str
    slowest: str
    in_time_prob: Value
    low_prob: Value
    high_prob: Value


class ToldRecord(_Record):
    """What was measured of one direction: first and last day (UTC), runs, shares of each hour.

    `hour_fracs` is empty without a clock; `hours_sigma` how much the log rate differs by the hour.
    """

    direction: str
    first_day: str | None
    last_day: str | None
    n_tests: Annotated[int, Field(ge=0)]
    hour_fracs: Annotated[tuple[float, ...], Field(max_length=24, strict=False)]
    hours_sigma: Annotated[float, Field(ge=0, allow_inf_nan=False)]


class Answers(_Record):
    """What a report answered, in short, and the settings of the site that it answered for."""

    version: str
    seed: int
    site: str
    link_sha256: str
    services: Annotated[tuple[ToldService, ...], Field(max_length=_MOST, strict=False)]
    numbers: Annotated[tuple[ToldNumber, ...], Field(max_length=_MOST, strict=False)]
    records: Annotated[tuple[ToldRecord, ...], Field(max_length=2, strict=False)]
    settings: Annotated[dict[str, str], Field(max_length=_MOST)]
    # first day of the backlogs; pages of earlier releases lack it
    start: Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\d$")] | None = None

    def plain(self) -> dict[str, Any]:
        """As they stand in a page."""
        return {"schema": SCHEMA, **self.model_dump(mode="json")}


def or_never(value: float | None) -> float:
    """A value of a record as a number: None is never."""
    return math.inf if value is None else value


def answers_from(record: dict[str, Any], path: str | Path) -> Answers:
    """The answers that `record`, of the page at `path`, holds.

    Raises
    ------
    ArtifactError
        If something in it is not as linkfit writes it.
    """
    rest = {key: value for key, value in record.items() if key != "schema"}
    try:
        return Answers.model_validate(rest)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(map(str, first["loc"]))
        raise ArtifactError(damaged(path, f"answers: {harmless(place)}: {first['msg']}")) from error
