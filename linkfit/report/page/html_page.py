"""The report as one page of HTML that needs nothing else: no network, no font, no other file."""

import base64
import hashlib
from functools import cache
from typing import TYPE_CHECKING

from jinja2 import Environment, PackageLoader, StrictUndefined

from linkfit.report.page import blocks
from linkfit.report.page.drawing import inline_svg
from linkfit.report.plain import harmless

if TYPE_CHECKING:
    from linkfit.report.page.blocks import Block, Picture, Report
    from linkfit.report.page.inputs import Inputs

PARTS = {"answers": "Answers", "evidence": "Evidence"}
_LONGEST = 2000
_SIGNS = {"fits": "✓", "fits with changes": "✓ with changes", "does not fit": "✗",
          "not enough data": "?"}  # fmt: skip
_CLASSES = {"fits": "fits", "fits with changes": "changes", "does not fit": "not"}


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("linkfit.report.page", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["plain"] = lambda text: harmless(text, limit=_LONGEST)
    environment.filters["parts"] = _parts
    environment.filters["lines"] = harmless_lines
    environment.filters["kind"] = _kind
    environment.filters["sign"] = lambda verdict: _SIGNS.get(verdict, "?")
    environment.filters["look"] = lambda verdict: _CLASSES.get(verdict, "open")
    environment.filters["drawing"] = _drawing
    return environment


def harmless_lines(text: str) -> str:
    """`text` line by line without anything that acts; nothing is cut."""
    return "\n".join(harmless(line, limit=len(line) * 10 + 1) for line in text.splitlines())


def _parts(text: str) -> list[str]:
    """A number and its interval, neither of which a line break is to tear from its unit."""
    first, *intervals = harmless(text, limit=_LONGEST).split(" (")
    return [first, *(f"({interval}" for interval in intervals)]


def _kind(block: "Block") -> str:
    return type(block).__name__.lower()


def _drawing(picture: "Picture") -> str:
    return inline_svg(picture, f"figure-{picture.name}-finding")


def html_page(report: "Report", inputs: "Inputs") -> str:
    """The page; the same report gives the same text.

    Notes
    -----
    The page's own policy forbids every request (Content Security Policy), and lets no script run
    but the one whose hash it names.
    """
    environment = _environment()
    assert environment.loader is not None
    script, _, _ = environment.loader.get_source(environment, "page.js")
    style, _, _ = environment.loader.get_source(environment, "page.css")
    script = script.strip()
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii")
    grids = [block.grid for section in report.sections for block in section.blocks
             if isinstance(block, blocks.Calculator)]  # fmt: skip
    return environment.get_template("page.html").render(
        report=report,
        parts=PARTS,
        inputs=inputs.plain(),
        grid=grids[0] if grids else None,
        script=script,
        style=style.strip(),
        script_hash=f"sha256-{digest}",
    )
