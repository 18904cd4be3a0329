"""The report as PDF: pages of A4 with the same sections, tables, figures and findings."""

import io
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.image import imread
from matplotlib.lines import Line2D

from linkfit.report.figure_style import write_figure
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
from linkfit.report.page.markdown_page import grid_tables
from linkfit.report.page.pdf_text import LINE_FACTOR, column_widths, wrapped, wrapped_number
from linkfit.report.plain import harmless

if TYPE_CHECKING:
    from linkfit.report.page.blocks import Block, Report

_WIDTH_PT, _HEIGHT_PT, _MARGIN_PT = 595.0, 842.0, 50.0
_PAGE_PT = _HEIGHT_PT - 2 * _MARGIN_PT
_POINTS_PER_INCH = 72.0
_TEXT_PT = _WIDTH_PT - 2 * _MARGIN_PT
_BODY, _SMALL, _MONO = 9.5, 8.0, 7.0
_SIZES = {"title": 18.0, "part": 15.0, "section": 12.5}
_FOLLOWS_PT = {"part": 150.0, "section": 60.0}  # stays with its heading
_CELL_GAP_PT = 8.0
_FIGURE_WIDTH_PT, _BESIDE_PT = 270.0, 16.0
_RULE = "#999999"
_STYLE: Any = {"pdf.fonttype": 42, "text.parse_math": False}


def pdf_page(report: "Report") -> bytes:
    """The report as a PDF file; the same report gives the same bytes."""
    stream = io.BytesIO()
    metadata = {
        "Title": harmless(report.title),
        "Creator": "linkfit",
        "Producer": "linkfit",
        "CreationDate": None,
    }
    with rc_context(_STYLE), warnings.catch_warnings():
        # a name in a script that the font lacks shows boxes; that is no reason to fail
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        with PdfPages(stream, metadata=metadata) as pages:
            flow = _Flow(pages)
            flow.text(report.title, size_pt=_SIZES["title"], bold=True)
            flow.text(report.subtitle, size_pt=_SMALL)
            for part, words in PARTS.items():
                flow.heading(words, "part")
                for section in report.sections:
                    if section.part == part:
                        flow.heading(section.title, "section")
                        for block in section.blocks:
                            flow.put(block)
            flow.end()
    return stream.getvalue()


class _Flow:
    """Puts one thing below the other and begins a page where the last one is full. [points]"""

    def __init__(self, pages: PdfPages) -> None:
        self.pages = pages
        self.n_pages = 0
        self._begin()

    def _begin(self) -> None:
        sides_in = (_WIDTH_PT / _POINTS_PER_INCH, _HEIGHT_PT / _POINTS_PER_INCH)
        self.figure = Figure(figsize=sides_in)
        self.n_pages += 1
        self.y_pt = _HEIGHT_PT - _MARGIN_PT

    def end(self) -> None:
        """Finish the page."""
        self._write(f"{self.n_pages}", _WIDTH_PT - _MARGIN_PT, 28.0, _SMALL, ha="right")
        self.pages.savefig(self.figure)  # type: ignore[no-untyped-call]

    def _need(self, height_pt: float) -> None:
        if self.y_pt - height_pt < _MARGIN_PT:
            self.end()
            self._begin()

    def _write(self, text: str, x_pt: float, y_pt: float, size_pt: float, **more: Any) -> None:
        self.figure.text(x_pt / _WIDTH_PT, y_pt / _HEIGHT_PT, text, fontsize=size_pt, va="baseline",
                         **more)  # fmt: skip

    def text(
        self,
        text: str,
        *,
        size_pt: float = _BODY,
        bold: bool = False,
        indent_pt: float = 0.0,
        mono: bool = False,
        is_plain: bool = False,
    ) -> None:
        """A paragraph, wrapped."""
        shown = text if is_plain else harmless(text, limit=2000)
        look: dict[str, Any] = {"weight": "bold" if bold else "normal"}
        if mono:
            look["family"] = "monospace"
        for line in wrapped(shown, _TEXT_PT - indent_pt, size_pt, bold=bold, mono=mono):
            self._need(size_pt * LINE_FACTOR)
            self.y_pt -= size_pt * LINE_FACTOR
            self._write(line, _MARGIN_PT + indent_pt, self.y_pt, size_pt, **look)
        self.y_pt -= 0.35 * size_pt

    def heading(self, text: str, level: str) -> None:
        """A heading that stays with what follows."""
        size_pt = _SIZES[level]
        self._need(size_pt * 2 + _FOLLOWS_PT[level])
        self.y_pt -= size_pt * 0.7
        self.text(text, size_pt=size_pt, bold=True)

    def put(self, block: "Block") -> None:
        """One block."""
        if isinstance(block, Paragraph):
            self.text(block.text)
        elif isinstance(block, Bullets):
            for item in block.items:
                self.text(f"• {item}", indent_pt=8)
        elif isinstance(block, Table):
            self.table(block.caption, block.header, block.rows, block.numeric)
        elif isinstance(block, Verdicts):
            for row in block.rows:
                self.text(f"{row.service}: {row.verdict} ({row.chance})", bold=True)
                self.text(row.line, indent_pt=8)
        elif isinstance(block, Picture):
            self.picture(block)
        elif isinstance(block, Listed):
            self.text(block.caption, bold=True)
            for line in harmless_lines(block.text).split("\n"):
                self.text(line or " ", size_pt=_MONO, mono=True, is_plain=True)
        elif isinstance(block, Calculator):
            for caption, corner, names, cells in grid_tables(block.grid):
                users = [f"{n} user" if n == "1" else f"{n} users" for n in block.grid.users]
                rows = tuple((name, *row) for name, row in zip(names, cells, strict=True))
                numeric = tuple(range(1, len(users) + 1))
                self.table(caption, (corner, *users), rows, numeric)

    def picture(self, block: Picture) -> None:
        """The figure, and beside it what there is to see in it."""
        stream = io.BytesIO()
        write_figure(block.figure, stream, kind="png", salt=block.name)
        stream.seek(0)
        # a byte a colour: pages are kept until the file is whole, pictures of floats fill memory
        pixels = np.rint(255 * imread(stream)[..., :3]).astype(np.uint8)
        wide, high = block.figure.get_size_inches()
        height_pt = min(_FIGURE_WIDTH_PT * high / wide, _PAGE_PT - _SMALL)
        width_pt = height_pt * wide / high
        indent_pt = _FIGURE_WIDTH_PT + _BESIDE_PT
        beside = wrapped(harmless(f"{block.caption}. {block.finding}", limit=2000),
                         _TEXT_PT - indent_pt, _SMALL, bold=True)  # fmt: skip
        self._need(max(height_pt, (len(beside) + 4) * _SMALL * LINE_FACTOR) + _SMALL)
        top_pt, self.y_pt = self.y_pt, self.y_pt - height_pt - _SMALL
        place = (_MARGIN_PT / _WIDTH_PT, self.y_pt / _HEIGHT_PT, width_pt / _WIDTH_PT,
                 height_pt / _HEIGHT_PT)  # fmt: skip
        axes = self.figure.add_axes(place)
        axes.imshow(pixels, aspect="auto", interpolation="none")
        axes.set_axis_off()
        below_pt, self.y_pt = self.y_pt, top_pt - 2 * _SMALL
        self.text(f"{block.caption}.", size_pt=_SMALL, bold=True, indent_pt=indent_pt)
        self.text(block.finding, size_pt=_SMALL, indent_pt=indent_pt)
        self.y_pt = min(self.y_pt, below_pt)

    def table(
        self,
        caption: str,
        header: tuple[str, ...],
        rows: tuple[tuple[str, ...], ...],
        numeric: tuple[int, ...],
    ) -> None:
        """A table whose cells wrap; its header comes again on each page."""
        size_pt = _SMALL if len(header) < 7 else 6.5
        cells = [tuple(harmless(cell, limit=500) for cell in row) for row in (header, *rows)]
        widths = column_widths(cells, _TEXT_PT - _CELL_GAP_PT * (len(header) - 1), size_pt)
        # a caption and a header stay with the first row
        heads_pt = [_row_height_pt(row, widths, size_pt, numeric, bold=True) for row in cells[:2]]
        self._need(2 * _SMALL * LINE_FACTOR + sum(heads_pt))
        self.text(caption, size_pt=_SMALL + 0.5, bold=True)
        self._row(cells[0], widths, size_pt, numeric, bold=True)
        for row in cells[1:]:
            n_pages = self.n_pages
            self._need(_row_height_pt(row, widths, size_pt, numeric))
            if self.n_pages != n_pages:
                self._row(cells[0], widths, size_pt, numeric, bold=True)
            self._row(row, widths, size_pt, numeric)
        self.y_pt -= size_pt

    def _row(
        self,
        row: tuple[str, ...],
        widths_pt: list[float],
        size_pt: float,
        numeric: tuple[int, ...],
        *,
        bold: bool = False,
    ) -> None:
        top_pt, x_pt = self.y_pt, _MARGIN_PT
        for index, (cell, width_pt) in enumerate(zip(row, widths_pt, strict=True)):
            y_pt = top_pt
            right = index in numeric
            for line in (wrapped_number if right else wrapped)(cell, width_pt, size_pt, bold=bold):
                y_pt -= size_pt * LINE_FACTOR
                self._write(line, x_pt + (width_pt if right else 0.0), y_pt, size_pt,
                            ha="right" if right else "left",
                            weight="bold" if bold else "normal")  # fmt: skip
            x_pt += width_pt + _CELL_GAP_PT
        self.y_pt -= _row_height_pt(row, widths_pt, size_pt, numeric, bold=bold)
        self._rule(self.y_pt + 0.15 * size_pt, 0.8 if bold else 0.3)

    def _rule(self, y_pt: float, width_pt: float) -> None:
        ends = [_MARGIN_PT / _WIDTH_PT, 1 - _MARGIN_PT / _WIDTH_PT]
        line = Line2D(ends, [y_pt / _HEIGHT_PT] * 2, color=_RULE, linewidth=width_pt)
        self.figure.add_artist(line)


def _row_height_pt(
    row: tuple[str, ...],
    widths_pt: list[float],
    size_pt: float,
    numeric: tuple[int, ...],
    *,
    bold: bool = False,
) -> float:
    lines = [
        (wrapped_number if index in numeric else wrapped)(cell, width, size_pt, bold=bold)
        for index, (cell, width) in enumerate(zip(row, widths_pt, strict=True))
    ]
    return max(len(found) for found in lines) * size_pt * LINE_FACTOR + 0.45 * size_pt
