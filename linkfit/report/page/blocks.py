"""What a report is made of, apart from how it is written: sections of tables, lists, pictures."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from linkfit.report.page.answers import Answers
    from linkfit.report.page.grid import Grid


@dataclass(frozen=True, slots=True, kw_only=True)
class Paragraph:
    """A few sentences."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bullets:
    """A list, one sentence or two an entry."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows under a header; the first cell of a row names it, `numeric` columns align right."""

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        wrong = [row for row in self.rows if len(row) != len(self.header)]
        if wrong:
            raise ValueError(f"rows: expected {len(self.header)} cells, got {wrong[0]!r}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The answer about one service: the verdict, how likely, and the one line that says why.

    `now_frac` and `then_frac` are shares of cases in time of its slowest promised task, as it is
    and with the changes; None where it promises nothing with a target or nothing was measured.
    """

    service: str
    verdict: str
    chance: str
    line: str
    now_frac: float | None
    then_frac: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdicts:
    """One line a service."""

    rows: tuple[Verdict, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picture:
    """A figure with its file name, what it shows, and in `finding` what there is to see in it."""

    name: str
    figure: "Figure"
    caption: str
    finding: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """Text to be kept letter by letter, such as a file."""

    caption: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Calculator:
    """Sliders over a grid that was computed beforehand; elsewhere a table of the same."""

    grid: "Grid"


Block = Paragraph | Bullets | Table | Verdicts | Picture | Listed | Calculator


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A heading with its blocks; `key` is its anchor, `part` "answers" or "evidence"."""

    key: str
    title: str
    part: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """The whole: a title, what it was made of and from when, its sections in reading order.

    `answers` is what a later report compares itself with; the page carries it.
    """

    title: str
    subtitle: str
    sections: tuple[Section, ...]
    answers: "Answers | None" = None

    def pictures(self) -> tuple[Picture, ...]:
        """All figures, in reading order."""
        return tuple(
            block
            for section in self.sections
            for block in section.blocks
            if isinstance(block, Picture)
        )
