"""A figure as SVG that lives inside a page: its own ids, the page's ink and paper, fewer bytes."""

import io
import re
from typing import TYPE_CHECKING

from linkfit.report.figure_style import BLUE, SKY_BLUE, VERMILION, write_figure

if TYPE_CHECKING:
    from linkfit.report.page.blocks import Picture

_PROLOG = re.compile(r"^.*?(?=<svg)", re.DOTALL)
_METADATA = re.compile(r"\s*<metadata>.*?</metadata>", re.DOTALL)
_STYLE = re.compile(r"\s*<style[^>]*>.*?</style>", re.DOTALL)
_COMMENT = re.compile(r"\s*<!--.*?-->", re.DOTALL)
_ID = re.compile(r' id="([^"]+)"')
_REFERENCE = re.compile(r'(href="#|url\(#)([^")]+)')
_PATH = re.compile(r' d="([^"]*)"')
_DECIMALS = re.compile(r"-?\d+\.\d{3,}")
# what turns with a dark page; cells of a map keep their colours
_TURNING = {
    "#000000": "currentColor",
    "#ffffff": "var(--paper)",
    "#d8d8d8": "var(--rule)",
    BLUE.lower(): "var(--blue)",
    SKY_BLUE.lower(): "var(--sky)",
    VERMILION.lower(): "var(--vermilion)",
}


def inline_svg(picture: "Picture", label_id: str) -> str:
    """The figure of `picture` as an SVG element, described by the element `label_id`."""
    stream = io.BytesIO()
    write_figure(picture.figure, stream, kind="svg", salt=picture.name)
    text = stream.getvalue().decode("utf-8")
    for pattern in (_PROLOG, _METADATA, _STYLE, _COMMENT):
        text = pattern.sub("", text, count=0 if pattern is _COMMENT else 1)
    text = _own_ids(text, picture.name)
    text = _PATH.sub(_short_path, text)
    for colour, of_page in _TURNING.items():
        text = text.replace(colour, of_page)
    head, _, rest = text.partition(">")
    head = re.sub(r' (width|height|version)="[^"]*"', "", head)
    return f'{head} role="img" aria-labelledby="{label_id}">{rest.strip()}'


def _own_ids(text: str, name: str) -> str:
    """Ids that nothing points at go; the others begin with the figure's name."""
    used = {match.group(2) for match in _REFERENCE.finditer(text)}

    def kept(match: re.Match[str]) -> str:
        return f' id="{name}-{match.group(1)}"' if match.group(1) in used else ""

    text = _ID.sub(kept, text)
    return _REFERENCE.sub(lambda match: f"{match.group(1)}{name}-{match.group(2)}", text)


def _short_path(match: re.Match[str]) -> str:
    """A hundredth of a point is finer than any screen."""
    path = _DECIMALS.sub(lambda number: f"{float(number.group()):.2f}", match.group(1))
    return f' d="{" ".join(path.split())}"'
