"""Small tables in HTML by which values show themselves in a notebook.

A notebook asks a value for `_repr_html_`. Trace, LinkModel, Forecast and Evaluation inherit it,
each from a module beside it in its own stage, and those build their rows from what the value
itself holds and put them here, at the bottom of the house. So no stage imports a report, nothing
has to be registered before it works (a value made by any module shows itself), and nothing is
computed, or imported, before a notebook asks.

The tables carry their meaning in their markup (caption, column and row headers) and no style or
script, so that they follow the notebook's own light or dark look and read well aloud.
"""

from collections.abc import Sequence
from html import escape

from linkfit.plain import harmless

MOST_ROWS = 40
Cells = Sequence[str]


def html_table(
    caption: str, headings: Cells, rows: Sequence[Cells], notes: Sequence[str] = ()
) -> str:
    """A table whose first column heads its rows, with notes below; every text is escaped.

    Parameters
    ----------
    caption : str
        What the table is of.
    headings : sequence of str
        One a column.
    rows : sequence of sequence of str
        One text a column; after 40 rows the rest is counted.
    notes : sequence of str
        Sentences below the table; after 40 the rest is counted.
    """
    head = "".join(f'<th scope="col">{_text(one)}</th>' for one in headings)
    body = "".join(_row(cells) for cells in rows[:MOST_ROWS])
    told = [*notes[:MOST_ROWS]]
    for kind, left in (("row", len(rows) - MOST_ROWS), ("note", len(notes) - MOST_ROWS)):
        if left > 0:
            told.append(f"and {left} more {kind}{'s' if left > 1 else ''}")
    items = "".join(f"<li>{_text(one)}</li>" for one in told)
    below = f"<ul>{items}</ul>" if told else ""
    return (
        f"<table><caption>{_text(caption)}</caption><thead><tr>{head}</tr></thead>"
        f"<tbody>{body}</tbody></table>{below}"
    )


def _row(cells: Cells) -> str:
    first, *others = cells
    return (
        f'<tr><th scope="row">{_text(first)}</th>'
        f"{''.join(f'<td>{_text(one)}</td>' for one in others)}</tr>"
    )


def _text(text: str) -> str:
    return escape(harmless(text))
