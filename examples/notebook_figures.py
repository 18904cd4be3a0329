"""What a notebook shows of each value: its table, and one figure of it.

In a notebook the last line of a cell is enough: `trace`, `link`, `time` and `evaluation` show
themselves as tables, and each function below returns a figure that is drawn at once. Run as a
script, it writes the figures into the folder that it is given, or into one for the moment.
"""

import sys
import tempfile
from pathlib import Path

import linkfit as lf
from linkfit.report.figure_style import save_figure
from linkfit.report.notebook_figures import (
    evaluation_figure,
    forecast_figure,
    link_figure,
    trace_figure,
)

ROOT = Path(__file__).parents[1]


def main(folder: Path) -> None:
    trace = lf.read_trace(ROOT / "traces" / "kestrel-ridge", timezone="Europe/Lisbon")
    link = lf.fit_link(trace, seed=0, timezone="Europe/Lisbon")
    time = lf.predict_transfer(link, size_bytes=5e6, direction="up", seed=0)
    evaluation = lf.evaluate(lf.read_site(ROOT / "examples" / "kestrel-ridge.toml"), link, seed=0)
    shown = {
        "trace": (trace, trace_figure(trace)),
        "link": (link, link_figure(link)),
        "forecast": (time, forecast_figure(time, "5 MB from the server")),
        "evaluation": (evaluation, evaluation_figure(evaluation)),
    }
    for name, (value, figure) in shown.items():
        written = save_figure(figure, folder / f"{name}.svg")
        n_rows = value._repr_html_().count("<tr>") - 1
        print(
            f"{name}: a table of {n_rows} rows, a figure of {written.stat().st_size / 1e3:.0f} kB"
        )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as moment:
            main(Path(moment))
