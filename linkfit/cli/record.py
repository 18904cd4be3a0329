"""``linkfit record``: the long-lived recorder of one link."""

from typing import Annotated

import typer


def record(
    store: Annotated[
        str,
        typer.Option(metavar="FILE", help="Where it goes: one file; used again if it is there."),
    ] = "linkfit.store",
    interface: Annotated[
        str | None, typer.Option(help="Whose counters; found by itself with --server or --probe.")
    ] = None,
    probe: Annotated[
        str | None,
        typer.Option(metavar="HOST[:PORT]", help="Round trips: by ping, or by TCP to a port."),
    ] = None,
    probe_every: Annotated[
        str, typer.Option(metavar="TIME", help="From one round trip to the next.")
    ] = "60 s",
    server: Annotated[
        str | None,
        typer.Option(metavar="HOST[:PORT]", help="Also tests: an iperf3 server that you run."),
    ] = None,
    seconds: Annotated[int, typer.Option(min=2, max=60, help="Length of one test.")] = 10,
    daily_budget: Annotated[
        str, typer.Option(metavar="SIZE", help="What tests may cost in a day (UTC).")
    ] = "50 MB",
    monthly_budget: Annotated[
        str, typer.Option(metavar="SIZE", help="What tests may cost in a billing cycle.")
    ] = "1 GB",
    cycle_day: Annotated[
        int, typer.Option(min=1, max=31, help="Day of the month on which a cycle begins.")
    ] = 1,
    timezone: Annotated[str, typer.Option(help="Whose midnight begins a cycle.")] = "UTC",
    metrics: Annotated[
        str | None,
        typer.Option(metavar="[HOST:]PORT", help="Serve OpenMetrics text; on 127.0.0.1 alone."),
    ] = None,
    most_size: Annotated[
        str, typer.Option(metavar="SIZE", help="Size of the store; oldest detail is averaged.")
    ] = "200 MB",
    stop_after: Annotated[
        str | None, typer.Option(metavar="TIME", help="End by itself; without it, never.")
    ] = None,
    seed: Annotated[int, typer.Option(min=0, help="Same seed, same moments of tests.")] = 0,
    unit: Annotated[
        bool, typer.Option("--unit", help="Print a systemd unit for these options and end.")
    ] = False,
) -> None:
    """Record a link for months.

    The interface's own counters each second cost no data; round trips cost little; tests only
    with --server, within both budgets, at the hours that know least. The file is a LINK for
    every other command, while it grows. SIGTERM and Ctrl-C end it whole.
    """
    from linkfit.cli.console import tell, write_out
    from linkfit.cli.record_input import record_plan, unit_command
    from linkfit.probe.recorder_loop import record as run
    from linkfit.probe.unit import unit_text

    plan = record_plan(
        store=store, interface=interface, probe=probe, probe_every=probe_every, server=server,
        seconds=seconds, daily_budget=daily_budget, monthly_budget=monthly_budget,
        cycle_day=cycle_day, timezone=timezone, metrics=metrics, most_size=most_size,
        stop_after=stop_after, seed=seed,
    )  # fmt: skip
    if unit:
        write_out(unit_text(unit_command()))
        return
    tell(f"recording {plan.interface} into {plan.store}; SIGTERM or Ctrl-C ends it")
    run(plan, say=tell)
