"""How figures look and how they are written: one palette, one size, the same bytes each time."""

import warnings
from collections.abc import Callable
from functools import wraps
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, ParamSpec

import numpy as np
from matplotlib import rc_context
from matplotlib.figure import Figure

from linkfit._checks import one_of
from linkfit.errors import InputError
from linkfit.report.figure_layout import POINTS_PER_INCH, StackedLayout

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from numpy.typing import ArrayLike, NDArray

# M. Okabe and K. Ito, "Color universal design" (2002): told apart by people of any colour vision
BLACK, ORANGE, SKY_BLUE, GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
YELLOW, BLUE, VERMILION, PURPLE = "#F0E442", "#0072B2", "#D55E00", "#CC79A7"
BAND_ALPHA = 0.3  # curves stand out from a band of this by 3 to 1
MAX_POINTS = 1500
FORMATS = ("svg", "png")
# the least letters anywhere in a figure, and the width at which a phone of 360 px shows them at
# 10 px or more
LETTERS_PT, WIDTH_IN = 10.0, 4.4
_HEIGHT_IN = 3.5
_ROWS_PT, _ROW_PT = 94.0, 36.0  # what stands around rows, and a row of two marks under its name
P = ParamSpec("P")
_STYLE: Any = {
    "font.size": LETTERS_PT,
    "axes.titlesize": 10.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titley": 1.0,  # the layout's matter, not to be looked for again at each draw
    "axes.titlepad": 0.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": "#D8D8D8",
    "grid.linewidth": 0.6,
    "legend.frameon": False,
    "legend.columnspacing": 1.4,
    "legend.fontsize": LETTERS_PT,
    "path.simplify": False,
    "svg.fonttype": "path",
}


def in_house_style(draw: Callable[P, Figure]) -> Callable[P, Figure]:
    """`draw` with the house style in force while it runs, whatever was set outside."""

    @wraps(draw)
    def styled(*args: P.args, **kwargs: P.kwargs) -> Figure:
        with rc_context(_STYLE):
            return draw(*args, **kwargs)

    return styled


def new_figure(title: str, *, n_rows: int = 0, row_pt: float = _ROW_PT) -> tuple[Figure, "Axes"]:
    """A figure with one pair of axes, as high as `n_rows` named rows need if there are any.

    Call it inside `in_house_style`.
    """
    height_in = (_ROWS_PT + row_pt * n_rows) / POINTS_PER_INCH if n_rows else _HEIGHT_IN
    figure = Figure(figsize=(WIDTH_IN, height_in), layout=StackedLayout())
    axes = figure.add_subplot()
    axes.set_title(title)
    return figure, axes


def name_rows(axes: "Axes", names: "Sequence[str]") -> None:
    """Rows 0, 1, ... downwards, each under its name; a row's marks belong below its middle.

    Beside the rows the names would leave a phone no width for the marks.
    """
    axes.set_ylim(len(names) - 0.5, -0.6)
    axes.set_yticks([])
    ground = {"facecolor": "white", "edgecolor": "none", "pad": 0.5}  # no line runs through a name
    for row, name in enumerate(names):
        axes.text(0.008, row - 0.48, name, transform=axes.get_yaxis_transform(), va="top",
                  bbox=ground)  # fmt: skip


def put_legend_below(figure: Figure, *, n_columns: int = 2) -> None:
    """One legend under the axes, where it covers no curve."""
    figure.legend(loc="outside lower center", ncols=n_columns)


def save_figure(figure: Figure, path: Path) -> Path:
    """Write `figure` as SVG or PNG by the ending of `path`; the same figure, the same bytes."""
    kind = one_of("figure format", path.suffix.removeprefix("."), FORMATS)
    try:
        # the salt makes ids inside the file depend on its name alone: files can share a page
        write_figure(figure, path, kind=kind, salt=path.stem)
    except OSError as error:
        raise InputError(
            f"figures: expected a place that can be written, got {str(path)!r} "
            f"({error.strerror}); choose another folder"
        ) from error
    return path


def write_figure(figure: Figure, target: Path | BinaryIO, *, kind: str, salt: str) -> None:
    """Write `figure` as "svg" or "png"; ids inside an SVG depend on `salt` alone."""
    style = _STYLE | {"svg.hashsalt": salt}
    metadata = {"Date": None, "Creator": "linkfit"} if kind == "svg" else {"Software": "linkfit"}
    with rc_context(style), warnings.catch_warnings():
        # a name in a script that the font lacks shows boxes; that is no reason to fail
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        engine = figure.get_layout_engine()
        if engine is not None:
            # laid out once: a second file of the same figure must not move by a hair, and saving
            # draws once where it has no layout to make
            engine.execute(figure)
            figure.set_layout_engine(None)
        figure.savefig(target, format=kind, dpi=160, metadata=metadata)


def thinned(
    x: "ArrayLike", y: "ArrayLike", max_points: int = MAX_POINTS
) -> tuple["NDArray[np.float64]", "NDArray[np.float64]"]:
    """At most `max_points` points of a curve that keep the lowest and highest of each stretch.

    Parameters
    ----------
    x, y : array, shape (n,)
        The curve, in the order in which it is drawn.

    Returns
    -------
    x, y : array, shape (<= max_points,)
        A subset in the same order; all points if there are few enough.
    """
    xs, ys = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if xs.size <= max_points:
        return xs, ys
    edges = np.linspace(0, xs.size, max_points // 2 + 1).astype(int)
    stretches = [(a, ys[a:b]) for a, b in pairwise(edges)]
    keep = [a + i for a, part in stretches for i in (part.argmin(), part.argmax())]
    index = np.unique(keep)
    return xs[index], ys[index]
