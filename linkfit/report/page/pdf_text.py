"""Lines of text for a page of fixed width: how wide letters are, where lines break. [points]"""

from collections.abc import Sequence
from functools import cache

from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.ft2font import LoadFlags

LINE_FACTOR = 1.32  # distance of lines over the size of letters
_LEAST_COLUMN_PT = 38.0


@cache
def _advance(letter: str, *, bold: bool, mono: bool) -> float:
    """Width of a letter in a font of size 1."""
    family = "monospace" if mono else "sans-serif"
    font = get_font(findfont(FontProperties(family=family, weight="bold" if bold else "normal")))
    font.set_size(100.0, 72)
    # in 1/65536 of a pixel, unhinted; a pixel is a point here
    return (
        float(font.load_char(ord(letter), flags=LoadFlags.NO_HINTING).linearHoriAdvance)
        / 65536
        / 100.0
    )


def width_pt(text: str, size_pt: float, *, bold: bool = False, mono: bool = False) -> float:
    """How wide `text` is in letters of `size_pt`. [points]"""
    return size_pt * sum(_advance(letter, bold=bold, mono=mono) for letter in text)


def wrapped(
    text: str, room_pt: float, size_pt: float, *, bold: bool = False, mono: bool = False
) -> list[str]:
    """`text` in lines no wider than `room_pt`; words longer than that are cut. At least one."""

    def fits(line: str) -> bool:
        return width_pt(line, size_pt, bold=bold, mono=mono) <= room_pt

    if fits(text):
        return [text]
    lines, line = [], ""
    for word in text.split(" "):
        longer = f"{line} {word}" if line else word
        if fits(longer):
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while not fits(line) and len(line) > 1:
            n = max(1, next(n for n in range(len(line), 0, -1) if n == 1 or fits(line[:n])))
            lines.append(line[:n])
            line = line[n:]
    return [*lines, line]


def wrapped_number(text: str, room_pt: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """A number and its interval on lines of their own where they do not fit on one."""
    if width_pt(text, size_pt, bold=bold) <= room_pt:
        return [text]
    first, *intervals = text.split(" (")
    parts = [first, *(f"({interval}" for interval in intervals)]
    return [line for part in parts for line in wrapped(part, room_pt, size_pt, bold=bold)]


def column_widths(rows: Sequence[tuple[str, ...]], room_pt: float, size_pt: float) -> list[float]:
    """Widths of columns that fill at most `room_pt`: as asked where that fits, else shared.

    Narrow columns get what they ask for first; the rest is split among the wide ones in
    proportion to the square root of what they ask for, so that a long text does not starve
    the others.
    """
    asked = [max(width_pt(row[i], size_pt, bold=True) for row in rows) for i in range(len(rows[0]))]
    if sum(asked) <= room_pt:
        return asked
    widths = [0.0] * len(asked)
    open_columns, left_pt = set(range(len(asked))), room_pt
    while open_columns:
        weight = {i: asked[i] ** 0.5 for i in open_columns}
        total = sum(weight.values())
        share = {i: left_pt * weight[i] / total for i in open_columns}
        done = {i for i in open_columns if asked[i] <= share[i]}
        if not done:
            for i in open_columns:
                widths[i] = max(share[i], _LEAST_COLUMN_PT)
            break
        for i in done:
            widths[i] = asked[i]
            left_pt -= asked[i]
        open_columns -= done
    return widths
