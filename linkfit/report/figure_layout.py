"""Where axes, names and legend stand in a figure: measured once, in points, without trial draws."""

from dataclasses import dataclass
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
_IN_POINTS = RendererBase()


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
        measured = [_measured(axes, wide_pt) for axes in fig.axes]
        if not measured:
            return
        left_pt = max(one.left_pt for one in measured)
        width_pt = wide_pt - left_pt - _PAD_PT - max(one.over_right_pt for one in measured)
        taken_pt = sum(one.above_pt + one.below_pt + _BETWEEN_PT for one in measured)
        taken_pt += sum(_size_pt(legend)[1] for legend in fig.legends) + 2 * _PAD_PT
        each_pt = max((high_pt - taken_pt + _BETWEEN_PT) / len(measured), 1.0)
        top_pt = high_pt - _PAD_PT
        for axes, one in zip(fig.axes, measured, strict=True):
            bottom_pt = top_pt - one.above_pt - each_pt
            axes.set_position(
                (left_pt / wide_pt, bottom_pt / high_pt, width_pt / wide_pt, each_pt / high_pt)
            )
            _place_names(axes, one, (_PAD_PT - left_pt) / width_pt, each_pt)
            top_pt = bottom_pt - one.below_pt - _BETWEEN_PT


@dataclass(frozen=True, slots=True, kw_only=True)
class _Measured:
    """What the words of one pair of axes take: left, over the right end, above, below."""

    left_pt: float
    over_right_pt: float
    title_pt: float
    ticks_pt: float
    name_pt: tuple[float, float]

    @property
    def above_pt(self) -> float:
        return self.title_pt + self.name_pt[1] + _NAME_GAP_PT

    @property
    def below_pt(self) -> float:
        return self.ticks_pt + self.name_pt[0]


def _measured(axes: "Axes", wide_pt: float) -> _Measured:
    axes.yaxis.label.set(rotation=0, horizontalalignment="left", verticalalignment="bottom")
    title = _title(axes)
    if title is not None:
        _wrap(title, wide_pt - 2 * _PAD_PT)
    across, upward = (_tick_words(axes, which) for which in (0, 1))
    numbers_pt = max((width_pt + _TICK_PT for _, width_pt, _ in upward), default=0.0)
    left_pt = _PAD_PT + max([numbers_pt, *(w / 2 - share * wide_pt for share, w, _ in across)])
    room_pt = wide_pt - left_pt - _PAD_PT
    return _Measured(
        left_pt=left_pt,
        over_right_pt=max([0.0, *(w / 2 - (1 - share) * room_pt for share, w, _ in across)]),
        title_pt=0.0 if title is None else _size_pt(title)[1] + _NAME_GAP_PT,
        ticks_pt=max((height_pt + _TICK_PT for _, _, height_pt in across), default=0.0),
        name_pt=(_name_pt(axes.xaxis), _name_pt(axes.yaxis)),
    )


def _size_pt(artist: "Artist") -> tuple[float, float]:
    """Width and height, whatever the resolution will be."""
    box = artist.get_window_extent(_IN_POINTS)
    return float(box.width), float(box.height)


def _wrap(title: Text, room_pt: float) -> None:
    """As many lines as it needs; a word longer than a line is parted."""
    words = title.get_text()
    n_letters = len(words)
    while _size_pt(title)[0] > room_pt and n_letters > _FEWEST_LETTERS:
        n_letters = int(0.9 * n_letters)
        title.set_text(fill(words, n_letters))


def _tick_words(axes: "Axes", which: int) -> list[tuple[float, float, float]]:
    """Of the words at ticks that show: the share of the way along the axis, width and height.

    `which` is 0 for the horizontal axis, 1 for the vertical one.
    """
    axis: Axis = (axes.xaxis, axes.yaxis)[which]
    low, high = axis.get_transform().transform(sorted(axis.get_view_interval()))
    found = []
    for text in axis.get_majorticklabels():
        at = axis.get_transform().transform(text.get_position()[which])
        share = (at - low) / (high - low) if high > low else 0.5
        if text.get_text() and text.get_visible() and -1e-9 <= share <= 1 + 1e-9:
            found.append((float(share), *_size_pt(text)))
    return found


def _name_pt(axis: "Axis") -> float:
    """What the name of an axis takes."""
    return _size_pt(axis.label)[1] + _NAME_GAP_PT if axis.label.get_text() else 0.0


def _title(axes: "Axes") -> Text | None:
    words = axes.get_title(loc="left")
    return next((one for one in axes.get_children()
                 if words and isinstance(one, Text) and one.get_text() == words), None)  # fmt: skip


def _place_names(axes: "Axes", one: _Measured, edge_frac: float, height_pt: float) -> None:
    """Title and names of the axes where no number stands."""
    axes.yaxis.set_label_coords(edge_frac, 1 + _NAME_GAP_PT / height_pt)
    axes.xaxis.set_label_coords(0.5, -one.ticks_pt / height_pt)
    title = _title(axes)
    if title is not None:
        title.set_x(edge_frac)
        title.set_y(1 + (_NAME_GAP_PT + one.name_pt[1]) / height_pt)
