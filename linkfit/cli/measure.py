"""``linkfit measure``: one session of tests against a server, within a budget of data."""

from typing import Annotated

import typer

from linkfit.cli.options import AsJson


def measure(
    server: Annotated[
        str,
        typer.Option(metavar="HOST[:PORT]", help="An iperf3 server that you run: iperf3 -s."),
    ],
    budget: Annotated[
        str,
        typer.Option(metavar="SIZE", help='What it may cost, both directions, "200 MB".'),
    ],
    out: Annotated[
        str,
        typer.Option("--out", "-o", metavar="DIR", help="A new folder for what was measured."),
    ] = "linkfit-measured",
    way: Annotated[str, typer.Option(help="both, up or down.")] = "both",
    seconds: Annotated[int, typer.Option(min=2, help="Length of one test.")] = 10,
    rounds: Annotated[int, typer.Option(min=1, help="How often each direction is tested.")] = 1,
    streams: Annotated[
        list[int] | None,
        typer.Option(metavar="N", help="Parallel streams; again for a test of each.  [1]"),
    ] = None,
    udp: Annotated[
        str | None,
        typer.Option(metavar="RATE", help="Also a test of datagrams at this rate, for loss."),
    ] = None,
    probe_port: Annotated[
        int | None,
        typer.Option(min=1, max=65535, help="Round trips by TCP with this port, not by ping."),
    ] = None,
    interface: Annotated[
        str | None, typer.Option(help="Whose counters tell the cost; found by itself.")
    ] = None,
    wan_address: Annotated[
        str | None, typer.Option(help="The address that the carrier gave the router.")
    ] = None,
    nat_timer_up_to: Annotated[
        str | None,
        typer.Option(
            metavar="TIME", help='Also look how long an idle connection is kept, "5 min"; last.'
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Measure the link against your own server.

    TCP up and down, round trips idle and busy, and what stands in the way; every byte that
    crosses the interface meanwhile counts against the budget. Ctrl-C keeps what is measured
    (and ends with 130).
    """
    from pathlib import Path

    from linkfit.cli.console import following, show, show_json
    from linkfit.cli.server_input import end_of, session_plan
    from linkfit.probe.session import run_session
    from linkfit.probe.session_files import SessionFolder
    from linkfit.report.measure_json import measure_record
    from linkfit.report.measure_text import measure_text

    plan = session_plan(
        server=server, budget=budget, way=way, seconds=seconds, rounds=rounds,
        streams=tuple(streams or (1,)), udp=udp, probe_port=probe_port, interface=interface,
        wan_address=wan_address, nat_timer_up_to=nat_timer_up_to,
    )  # fmt: skip
    folder = SessionFolder(Path(out))
    with following() as say:
        session = run_session(plan, folder, say=say)
    record = measure_record(session, out)
    if as_json:
        show_json(record)
    else:
        show(*measure_text(record))
    end_of(session)
