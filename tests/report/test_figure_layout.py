"""Nothing is cut, nothing overlaps, nothing is smaller than promised."""

import io

import numpy as np
import pytest
from matplotlib.backend_bases import RendererBase
from matplotlib.figure import Figure
from matplotlib.text import Text

from linkfit.report.figure_layout import StackedLayout
from linkfit.report.figure_style import (
    LETTERS_PT,
    in_house_style,
    name_rows,
    new_figure,
    put_legend_below,
)


@in_house_style
def curve(*, top=1.0, title="Rates of single seconds, down (internet to server)"):
    figure, axes = new_figure(title)
    axes.plot([0, 30], [0, top], label="model, median")
    axes.plot([0, 30], [top, 0], label="measured")
    axes.set_xlim(0, 30)
    axes.set_xlabel("rate at the IP layer [Mbit/s]")
    axes.set_ylabel("seconds with at most that [%]")
    put_legend_below(figure)
    return figure


@in_house_style
def rows():
    figure, axes = new_figure("Time of each task", n_rows=3)
    axes.barh(np.arange(3) + 0.1, [1, 2, 3], 0.2, label="as it is")
    name_rows(axes, ["finds catalogue: open the grid of it", "b", "c"])
    axes.set_xlabel("time")
    put_legend_below(figure)
    return figure


@in_house_style
def stack():
    figure = Figure(figsize=(4.4, 5.0), layout=StackedLayout())
    for axes, top in zip(figure.subplots(2, 1), (1.0, 1e5), strict=True):
        axes.plot([0, 1], [0, top], label="a")
        axes.set_title("one of two")
        axes.set_ylabel("time")
    put_legend_below(figure)
    return figure


def boxes(figure):
    """Where every word stands, in points from the lower left, after it was drawn."""
    figure.set_dpi(72)
    figure.savefig(io.BytesIO(), format="svg", dpi=72)
    renderer = RendererBase()
    words = []
    for axes in figure.axes:
        for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            ticks = zip(axis.get_majorticklocs(), axis.get_majorticklabels(), strict=True)
            words += [text for at, text in ticks if min(low, high) <= at <= max(low, high)]
            words.append(axis.label)
        words += [one for one in axes.get_children() if isinstance(one, Text)]
    words += [text for legend in figure.legends for text in legend.get_texts()]
    return [(text.get_text(), text.get_window_extent(renderer, dpi=72)) for text in words
            if text.get_text() and text.get_visible()]  # fmt: skip


DRAWINGS = {
    "small numbers": lambda: curve(top=0.001),
    "large numbers": lambda: curve(top=123456.0),
    "two lines of title": lambda: curve(title="a word " * 12),
    "wide letters": lambda: curve(title="W" * 60),
    "rows": rows,
    "stack": stack,
}


@pytest.mark.parametrize("name", DRAWINGS)
def test_no_word_is_cut_by_the_edge(name):
    figure = DRAWINGS[name]()
    wide_pt, high_pt = figure.get_size_inches() * 72
    for text, box in boxes(figure):
        assert box.x0 >= 0, text
        assert box.y0 >= 0, text
        assert box.x1 <= wide_pt, text
        assert box.y1 <= high_pt, text


@pytest.mark.parametrize("name", DRAWINGS)
def test_no_word_covers_another(name):
    found = boxes(DRAWINGS[name]())
    over = [
        (one, other)
        for i, (one, box) in enumerate(found)
        for other, its in found[:i]
        if min(box.x1, its.x1) - max(box.x0, its.x0) > 1
        and min(box.y1, its.y1) - max(box.y0, its.y0) > 2  # room under letters that have no tail
    ]
    assert over == []


def test_axes_of_a_stack_are_as_high_and_as_wide_as_each_other():
    figure = stack()
    boxes(figure)
    first, second = (axes.get_position() for axes in figure.axes)
    assert first.height == pytest.approx(second.height)
    assert first.x0 == second.x0
    assert first.y0 > second.y1


def test_letters_are_no_smaller_than_said():
    for draw in DRAWINGS.values():
        figure = draw()
        texts = figure.findobj(lambda one: isinstance(one, Text))
        assert min(text.get_fontsize() for text in texts if text.get_text()) >= LETTERS_PT


def test_a_figure_without_axes_is_left_alone():
    figure = Figure(layout=StackedLayout())
    figure.savefig(io.BytesIO(), format="svg")
    assert figure.axes == []
