"""``linkfit backtest``: how far forecasts of this link can be trusted, told by its own past."""

from typing import Annotated

import typer

from linkfit.cli.options import (
    AsJson,
    Columns,
    Direction,
    FiguresFolder,
    RowLength,
    Saturating,
    Seed,
    Timezone,
    TraceFiles,
    Units,
)


def backtest(
    traces: TraceFiles,
    size: Annotated[
        list[str] | None,
        typer.Option(
            help='Payload, for example "5 MB"; again for several. Real transfers have their own.'
        ),
    ] = None,
    train_frac: Annotated[
        float, typer.Option(help="Part of the measurements that the fit sees, above 0, below 1.")
    ] = 0.6,
    origins: Annotated[
        int, typer.Option(min=1, help="Cut the rest into so many parts, each predicted anew.")
    ] = 1,
    transfers: Annotated[
        int, typer.Option(min=1, help="Transfers for each size, direction and part.")
    ] = 300,
    figures: FiguresFolder = None,
    direction: Direction = None,
    columns: Columns = None,
    units: Units = None,
    timezone: Timezone = None,
    row_length: RowLength = None,
    saturating: Saturating = None,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:
    """Fit the first part, predict the rest, score.

    Where speed was measured, transfers start at random times of the rest and take as long as the
    measured rate lets them. Where only real transfers were, each of the rest is predicted from
    those before it. Three simple forecasts stand beside the model's.
    """
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.figures import write_backtest
    from linkfit.cli.link_input import read_traces, trace_input
    from linkfit.forecast.backtest import DEFAULT_SIZES_BYTES
    from linkfit.forecast.backtest import backtest as scored
    from linkfit.report.backtest_json import backtest_record
    from linkfit.report.backtest_text import backtest_text
    from linkfit.units import parse_size_bytes

    sizes_bytes = [parse_size_bytes(text, where="--size") for text in size or ()]
    trace = read_traces(
        trace_input(traces, direction, columns, units, timezone or "UTC", row_length, saturating)
    )
    with working_on("predicting what came"):
        score = scored(
            trace, sizes_bytes=sizes_bytes or DEFAULT_SIZES_BYTES, train_frac=train_frac,
            n_origins=origins, n_transfers=transfers, seed=seed,
        )  # fmt: skip
    if as_json:
        show_json(backtest_record(score, train_frac=train_frac, n_origins=origins, seed=seed))
    else:
        show(*backtest_text(score))
    if figures is not None:
        write_backtest(score, figures)
