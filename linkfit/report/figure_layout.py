"""Where axes, names and legend stand in a figure: measured once, in points, without trial draws."""

from textwrap import fill
from typing import TYPE_CHECKING, ClassVar

from matplotlib.backend_bases import RendererBase
from matplotlib.layout_engine import LayoutEngine
from matplotlib.text import Text

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

_PAD_PT = 5.0
_TICK_PT = 7.0  # a tick and the gap to its number
_NAME_GAP_PT = 3.0
_BETWEEN_PT = 7.0
_FEWEST_LETTERS = 10  # in a line, if it must be wrapped
POINTS_PER_INCH = 72.0


class StackedLayout(LayoutEngine):
    """Axes of equal height one below the other, and one legend under them.

    The title and the name of the vertical axis stand above each, flush with the figure's left
    edge: a phone shows them upright and whole, and the curves get the width.
    """

    _adjust_compatible: ClassVar[bool] = False
    _colorbar_gridspec: ClassVar[bool] = False

    def execute(self, fig: "Figure") -> None:
        """Place everything; widths and heights of words are all that is measured."""
        wide_pt, high_pt = (side * POINTS_PER_INCH for side in fig.get_size_inches())
        measured = _Words()
        for axes in fig.axes:
            axes.yaxis.label.set(rotation=0, horizontalalignment="left", verticalalignment="bottom")
            measured.wrap_title(axes, wide_pt - 2 * _PAD_PT)
        left_pt = max([0.0, *(measured.left_pt(axes, wide_pt) for axes in fig.axes)])
        room_pt = wide_pt - left_pt - _PAD_PT
        right_pt = max([0.0, *(measured.over_right_pt(axes, room_pt) for axes in fig.axes)])
        legend_pt = sum(measured.height_pt(legend) for legend in fig.legends)
        above_pt = [measured.above_pt(axes) for axes in fig.axes]
        below_pt = [measured.below_pt(axes) for axes in fig.axes]
        taken_pt = sum(above_pt) + sum(below_pt) + _BETWEEN_PT * (len(fig.axes) - 1)
        taken_pt += legend_pt + 2 * _PAD_PT
        each_pt = max((high_pt - taken_pt) / max(len(fig.axes), 1), 1.0)
        width_pt = room_pt - right_pt
        top_pt = high_pt - _PAD_PT
        for axes, above, below in zip(fig.axes, above_pt, below_pt, strict=True):
            bottom_pt = top_pt - above - each_pt
            axes.set_position(
                (left_pt / wide_pt, bottom_pt / high_pt, width_pt / wide_pt, each_pt / high_pt)
            )
            _place_names(axes, measured, left_pt - _PAD_PT, width_pt, each_pt)
            top_pt = bottom_pt - below - _BETWEEN_PT


class _Words:
    """Sizes of what is written, in points whatever the resolution will be."""

    def __init__(self) -> None:
        self._renderer = RendererBase()  # counts in points

    def height_pt(self, artist: "Artist") -> float:
        return float(artist.get_window_extent(self._renderer).height)

    def _width_pt(self, text: Text) -> float:
        return float(text.get_window_extent(self._renderer).width)

    def wrap_title(self, axes: "Axes", room_pt: float) -> None:
        """As many lines as it needs; a word longer than a line is parted."""
        title = _title(axes)
        if title is None:
            return
        words = title.get_text()
        n_letters = len(words)
        while self._width_pt(title) > room_pt and n_letters > _FEWEST_LETTERS:
            n_letters = int(0.9 * n_letters)
            title.set_text(fill(words, n_letters))

    def left_pt(self, axes: "Axes", wide_pt: float) -> float:
        """What stands left of the axes: their numbers, or half of the first one below them."""
        widths_pt = [self._width_pt(text) + _TICK_PT for _, text in _tick_words(axes.yaxis, 1)]
        below_pt = [self._width_pt(text) / 2 - share * wide_pt
                    for share, text in _tick_words(axes.xaxis, 0)]  # fmt: skip
        return _PAD_PT + max([0.0, *widths_pt, *below_pt])

    def over_right_pt(self, axes: "Axes", room_pt: float) -> float:
        """How far the words of a tick near the right end reach beyond it."""
        over_pt = [self._width_pt(text) / 2 - (1 - share) * room_pt
                   for share, text in _tick_words(axes.xaxis, 0)]  # fmt: skip
        return max([0.0, *over_pt])

    def name_pt(self, axis: "Axis") -> float:
        """What the name of an axis takes."""
        return self.height_pt(axis.label) + _NAME_GAP_PT if axis.label.get_text() else 0.0

    def above_pt(self, axes: "Axes") -> float:
        title = _title(axes)
        title_pt = 0.0 if title is None else self.height_pt(title) + _NAME_GAP_PT
        return title_pt + self.name_pt(axes.yaxis) + _NAME_GAP_PT

    def ticks_pt(self, axes: "Axes") -> float:
        """What the numbers below the axes take."""
        heights = [self.height_pt(text) for _, text in _tick_words(axes.xaxis, 0)]
        return max(heights) + _TICK_PT if heights else 0.0

    def below_pt(self, axes: "Axes") -> float:
        return self.ticks_pt(axes) + self.name_pt(axes.xaxis)


def _tick_words(axis: "Axis", which: int) -> list[tuple[float, Text]]:
    """Words at the ticks that show, each with its share of the way along the axis.

    `which` is 0 for the horizontal axis, 1 for the vertical one.
    """
    low, high = axis.get_transform().transform(sorted(axis.get_view_interval()))
    found = []
    for text in axis.get_majorticklabels():
        at = axis.get_transform().transform(text.get_position()[which])
        share = (at - low) / (high - low) if high > low else 0.5
        if text.get_text() and text.get_visible() and -1e-9 <= share <= 1 + 1e-9:
            found.append((float(share), text))
    return found


def _title(axes: "Axes") -> Text | None:
    words = axes.get_title(loc="left")
    return next((one for one in axes.get_children()
                 if words and isinstance(one, Text) and one.get_text() == words), None)  # fmt: skip


def _place_names(
    axes: "Axes", measured: _Words, left_pt: float, width_pt: float, height_pt: float
) -> None:
    """Title and names of the axes where no number stands."""
    edge = -left_pt / width_pt
    axes.yaxis.set_label_coords(edge, 1 + _NAME_GAP_PT / height_pt)
    axes.xaxis.set_label_coords(0.5, -measured.ticks_pt(axes) / height_pt)
    title = _title(axes)
    if title is not None:
        title.set_x(edge)
        title.set_y(1 + (_NAME_GAP_PT + measured.name_pt(axes.yaxis)) / height_pt)
