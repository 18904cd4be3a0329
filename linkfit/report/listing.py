"""Listings for a terminal: a table where it fits, one block a row where it does not."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rich import box
from rich.cells import cell_len
from rich.table import Table
from rich.text import Text

from linkfit.report.plain import harmless

if TYPE_CHECKING:
    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

_GAP = 2  # blanks between columns, one of them the box's own
_LEAST_WRAPPED = 18  # a column of prose narrower than this is unreadable


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A heading; `right` aligns numbers; `prose` may wrap onto several lines."""

    heading: str
    right: bool = False
    prose: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """Rows under headings that never lose a letter, however narrow the terminal.

    Cells are plain text or a rich Text with its own style; plain text is made harmless. A tuple
    of two is a text with a second line below it (in a block: behind it). An empty cell is left
    out where rows are shown as blocks.
    """

    columns: tuple[Column, ...]
    rows: list[tuple[Text, ...]] = field(default_factory=list)

    def add(self, *cells: "str | Text | tuple[str, str]") -> None:
        """Append a row with one cell a column."""
        if len(cells) != len(self.columns):
            raise ValueError(f"cells: expected {len(self.columns)}, got {len(cells)}")
        self.rows.append(tuple(_cell(cell) for cell in cells))

    def __rich_console__(self, console: "Console", options: "ConsoleOptions") -> "RenderResult":
        least_widths = self._least_widths()
        if sum(least_widths) + _GAP * (len(least_widths) - 1) <= options.max_width:
            yield self._table(least_widths)
        else:
            yield from self._blocks()

    def _least_widths(self) -> list[int]:
        """Narrowest width of each column at which nothing but prose wraps."""
        widths = []
        for index, column in enumerate(self.columns):
            texts = [column.heading, *(row[index].plain for row in self.rows)]
            widest = max(cell_len(line) for text in texts for line in text.split("\n"))
            widths.append(min(widest, _LEAST_WRAPPED) if column.prose else widest)
        return widths

    def _table(self, least_widths: list[int]) -> Table:
        table = Table(box=box.SIMPLE_HEAD, padding=(0, _GAP - 1, 0, 0), pad_edge=False,
                      show_edge=False, header_style="bold")  # fmt: skip
        for column, width in zip(self.columns, least_widths, strict=True):
            table.add_column(
                column.heading,
                justify="right" if column.right else "left",
                no_wrap=not column.prose,
                overflow="fold",
                min_width=width,
            )
        for row in self.rows:
            table.add_row(*row)
        return table

    def _blocks(self) -> "RenderResult":
        first, *others = self.columns
        for number, row in enumerate(self.rows):
            if number:
                yield Text()
            title = row[0].copy() if row[0].plain else Text(first.heading)
            title.stylize("bold")
            yield Sentence(text=title)
            for column, cell in zip(others, row[1:], strict=True):
                if cell.plain:
                    label = Text.assemble(f"{column.heading}: ", Text(" ").join(cell.split("\n")))
                    yield Sentence(text=label, mark="  ")


def _cell(cell: "str | Text | tuple[str, str]") -> Text:
    return Text("\n").join(map(as_text, cell)) if isinstance(cell, tuple) else as_text(cell)


def as_text(cell: "str | Text") -> Text:
    """`cell` as rich Text; plain text is made harmless and never read as markup."""
    return cell if isinstance(cell, Text) else Text(harmless(cell, limit=2000))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sentence:
    """Prose that wraps with no blank at a line's end; `mark` stands before its first line."""

    text: Text
    mark: str = ""

    def __rich_console__(self, console: "Console", options: "ConsoleOptions") -> "RenderResult":
        width = max(options.max_width - len(self.mark), 1)
        for number, line in enumerate(self.text.wrap(console, width)):
            line.rstrip()
            yield Text.assemble(" " * len(self.mark) if number else self.mark, line)


def sentence(text: str) -> Sentence:
    """One paragraph."""
    return Sentence(text=as_text(text))


def bullets(texts: Sequence[str], *, indent: int = 0) -> list[Sentence]:
    """Sentences, each behind a dash with its further lines indented."""
    return [Sentence(text=as_text(text), mark=" " * indent + "- ") for text in texts]


def heading(text: str) -> Sentence:
    """A section's heading."""
    return Sentence(text=Text(harmless(text), style="bold underline"))


def apart(sections: "Sequence[Sequence[RenderableType]]") -> "list[RenderableType]":
    """The parts of all sections that have any, an empty line between sections."""
    parts: list[RenderableType] = []
    for section in sections:
        if section:
            parts += [Text(), *section] if parts else section
    return parts
