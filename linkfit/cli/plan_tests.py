"""``linkfit plan-tests``: how many more tests, when, how long, and what they cost."""

from typing import Annotated

import typer

from linkfit.cli.options import AsJson, Columns, Direction, Down, LinkFiles, Timezone, Units, Up


def plan_tests(
    links: LinkFiles = None,
    width: Annotated[
        str, typer.Option(metavar="PERCENT", help="How far the 95 % interval may reach.")
    ] = "20%",
    of: Annotated[str, typer.Option(help="What shall be known so well: median or p05.")] = "median",
    way: Annotated[str, typer.Option(help="both, up or down.")] = "both",
    seconds: Annotated[
        int | None, typer.Option(min=2, help="Length of one test; else told by the round trip.")
    ] = None,
    budget: Annotated[
        str | None, typer.Option(metavar="SIZE", help="What they may cost: how far it gets.")
    ] = None,
    cap: Annotated[
        str | None, typer.Option(metavar="SIZE", help="The plan's data a cycle, to compare.")
    ] = None,
    down: Down = None,
    up: Up = None,
    direction: Direction = None,
    columns: Columns = None,
    units: Units = None,
    timezone: Timezone = None,
    as_json: AsJson = False,
) -> None:
    """How many more tests are needed, and what they cost.

    From what LINK holds already: how many parts of how many days, at which hours, how long, one
    or several streams, and the data they take, until the interval is as narrow as wanted. Ask
    again as tests come in: it says when it is reached. Without LINK it reckons with --up, --down.
    """
    from linkfit.cli.console import show, show_json
    from linkfit.cli.link_input import trace_input
    from linkfit.cli.plan_tests_input import asked_tests
    from linkfit.report.plan_tests_json import plan_tests_record
    from linkfit.report.plan_tests_text import plan_tests_text

    files = trace_input(links, direction, columns, units, timezone or "UTC")
    asked = asked_tests(files, width=width, of=of, way=way, seconds=seconds, budget=budget,
                        cap=cap, down=down, up=up)  # fmt: skip
    record = plan_tests_record(asked)
    if as_json:
        show_json(record)
    else:
        show(*plan_tests_text(record))
