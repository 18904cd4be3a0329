"""The report as Markdown: the same sections, tables and findings, figures told in words."""

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from linkfit.report.page.blocks import (
    Bullets,
    Calculator,
    Listed,
    Paragraph,
    Picture,
    Table,
    Verdicts,
)
from linkfit.report.page.html_page import PARTS, harmless_lines
from linkfit.report.plain import harmless

if TYPE_CHECKING:
    from linkfit.report.page.blocks import Block, Report
    from linkfit.report.page.grid import Cell, Grid

_LONGEST = 2000
# what Markdown (CommonMark, and tables and strike-through besides) or HTML would obey
_OBEYED = re.compile(r"([\\`*_\[\]<>#|~$&])")
_ADDRESS = re.compile(r"(?i)\b(https?|ftp|mailto|www)(?=[:.])")


def markdown_page(report: "Report") -> str:
    """The report as text; the same report gives the same text."""
    lines = [f"# {plain(report.title)}", "", plain(report.subtitle), ""]
    for part, words in PARTS.items():
        lines += [f"## {words}", ""]
        for section in report.sections:
            if section.part == part:
                lines += [f"### {plain(section.title)}", ""]
                for block in section.blocks:
                    lines += [*_lines(block), ""]
    return "\n".join(lines).rstrip("\n") + "\n"


def plain(text: str) -> str:
    """`text` on one line, so that nothing in it acts in Markdown or in the HTML made of it."""
    shown = _OBEYED.sub(r"\\\1", harmless(text, limit=_LONGEST))
    return _ADDRESS.sub(lambda match: match.group()[0] + "\u2060" + match.group()[1:], shown)


def _lines(block: "Block") -> list[str]:
    if isinstance(block, Paragraph):
        return [plain(block.text)]
    if isinstance(block, Bullets):
        return [f"- {plain(item)}" for item in block.items]
    if isinstance(block, Table):
        return _table(block.caption, block.header, block.rows, block.numeric)
    if isinstance(block, Verdicts):
        return [
            f"- **{plain(row.service)}: {row.verdict}** ({plain(row.chance)}). {plain(row.line)}"
            for row in block.rows
        ]
    if isinstance(block, Picture):
        return [f"*Figure {plain(block.name)}.* {plain(block.caption)}. {plain(block.finding)}"]
    if isinstance(block, Listed):
        return _fenced(block)
    return _grid(block)


def _table(
    caption: str,
    header: Sequence[str],
    rows: Sequence[Sequence[str]],
    numeric: Sequence[int],
) -> list[str]:
    line = ["---:" if index in numeric else "---" for index in range(len(header))]
    return [
        f"**{plain(caption)}**",
        "",
        "| " + " | ".join(plain(cell) for cell in header) + " |",
        "| " + " | ".join(line) + " |",
        *("| " + " | ".join(plain(cell) for cell in row) + " |" for row in rows),
    ]


def _fenced(block: Listed) -> list[str]:
    text = harmless_lines(block.text)
    longest = max((len(run) for run in re.findall("`+", text)), default=0)
    fence = "`" * max(3, longest + 1)
    return [f"**{plain(block.caption)}**", "", f"{fence}toml", *text.split("\n"), fence]


def _grid(block: Calculator) -> list[str]:
    lines: list[str] = []
    for caption, corner, rows, cells in grid_tables(block.grid):
        header = (corner, *(f"{n} user" if n == "1" else f"{n} users" for n in block.grid.users))
        body = [(name, *row) for name, row in zip(rows, cells, strict=True)]
        numeric = range(1, len(header))
        lines += [*_table(caption, header, body, numeric), ""]
    return lines[:-1]


def grid_tables(
    grid: "Grid",
) -> list[tuple[str, str, tuple[str, ...], tuple[tuple[str, ...], ...]]]:
    """Caption, corner, row names and cells of every table that the sliders read."""
    edges = grid.edges or ("any",)
    timed = [
        ("Time for the server to send one payload (link up)", "payload", grid.sizes, grid.out),
        ("Time for the server to receive one payload (link down)", "payload", grid.sizes, grid.in_),
        ("Time to view one photo", "long edge", edges, grid.view),
    ]
    found = [
        (caption, corner, names, tuple(tuple(_cell(one) for one in row) for row in cells))
        for caption, corner, names, cells in timed
        if cells
    ]
    corner = "long edge" if grid.edges else "photos"
    found.append(("Data of a billing cycle, the whole site", corner, edges, grid.cycle))
    if grid.over:
        found.append(("Chance to want more than the cap", corner, edges, grid.over))
    return found


def _cell(cell: "Cell") -> str:
    return f"{cell.median}; 19 of 20 within {cell.late}"
