"""The command ``linkfit``: its commands, its version, and how it ends when something is wrong.

Nothing heavy is imported here: a command's body imports what it needs.
"""

import sys
import warnings
from typing import Annotated, Any, NoReturn, TextIO

import typer

from linkfit.cli import advise as advise_command
from linkfit.cli import backlog as backlog_command
from linkfit.cli import backtest as backtest_command
from linkfit.cli import caching as caching_command
from linkfit.cli import capacity as capacity_command
from linkfit.cli import compare as compare_command
from linkfit.cli import data as data_command
from linkfit.cli import demo as demo_command
from linkfit.cli import fit as fit_command
from linkfit.cli import inspect as inspect_command
from linkfit.cli import interactive as interactive_command
from linkfit.cli import measure as measure_command
from linkfit.cli import new as new_command
from linkfit.cli import photos as photos_command
from linkfit.cli import plan_tests as plan_tests_command
from linkfit.cli import power as power_command
from linkfit.cli import record as record_command
from linkfit.cli import report as report_command
from linkfit.cli import status as status_command
from linkfit.cli import streams as streams_command
from linkfit.cli import transfer as transfer_command
from linkfit.cli import tunnel as tunnel_command
from linkfit.cli import uploads as uploads_command
from linkfit.cli import users as users_command
from linkfit.errors import LinkfitError, LinkfitWarning, TraceError

app = typer.Typer(
    name="linkfit",
    help="Decide what self-hosted services can do over a cellular or satellite link.",
    epilog="Results go to stdout, messages to stderr. Exit codes: 0 done, 1 a bug in linkfit, "
    "2 bad input, 3 the measurements cannot carry a model, 4 no setting meets the targets.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command("demo")(demo_command.demo)
app.command("new")(new_command.new)
app.command("inspect")(inspect_command.inspect)
app.command("fit")(fit_command.fit)
app.command("capacity")(capacity_command.capacity)
app.command("transfer")(transfer_command.transfer)
app.command("uploads")(uploads_command.uploads)
app.command("tunnel")(tunnel_command.tunnel)
app.command("streams")(streams_command.streams)
app.command("photos")(photos_command.photos)
app.command("caching")(caching_command.caching)
app.command("interactive")(interactive_command.interactive)
app.command("advise")(advise_command.advise)
app.command("users")(users_command.users)
app.command("compare")(compare_command.compare)
app.command("backlog")(backlog_command.backlog)
app.command("power")(power_command.power)
app.command("data")(data_command.data)
app.command("report")(report_command.report)
app.command("backtest")(backtest_command.backtest)
app.command("measure")(measure_command.measure)
app.command("record")(record_command.record)
app.command("status")(status_command.status)
app.command("plan-tests")(plan_tests_command.plan_tests)


def _show_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"linkfit {version('linkfit')}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool,
        typer.Option("--version", help="Show the version and end.", callback=_show_version,
                     is_eager=True),
    ] = False,
) -> None:  # fmt: skip
    pass


def _show_warning(
    message: Warning | str,
    category: type[Warning],
    filename: str,
    lineno: int,
    file: TextIO | None = None,
    line: str | None = None,
) -> None:
    from linkfit.cli.console import tell

    if issubclass(category, LinkfitWarning):
        tell(f"note: {message}")
    else:
        out = file or sys.stderr
        out.write(warnings.formatwarning(message, category, filename, lineno, line))


_FITTED_FIRST = (
    "note: --row-length and --saturating are options of linkfit inspect and linkfit fit; other "
    "commands read the link.json that fit writes"
)


def main(arguments: list[str] | None = None) -> NoReturn:
    """Run the command line and end the program with its exit code.

    An error that linkfit raises on purpose is one message on stderr and the exit code of its
    class; a bug keeps its traceback and ends with 1.
    """
    for stream in (sys.stdout, sys.stderr):
        reconfigure: Any = getattr(stream, "reconfigure", None)
        if reconfigure is not None:  # a terminal that lacks a letter shows "?", never a crash
            reconfigure(errors="replace")
    with warnings.catch_warnings():
        warnings.showwarning = _show_warning
        try:
            app(arguments, prog_name="linkfit")
        except LinkfitError as error:
            from linkfit.cli.console import tell

            text = str(error)
            if isinstance(error, TraceError):
                from linkfit.report.option_words import as_options

                text = as_options(text)
            tell(f"error: {text}")
            if text != str(error) and ("--row-length" in text or "saturating" in text):
                tell(_FITTED_FIRST)
            sys.exit(error.exit_code)
        except SystemExit as end:
            from linkfit.cli.console import READER_GONE

            # nobody reads the help any more: the parser has put a silent stdout there, and says 1
            gone = end.code == 1 and hasattr(sys.stdout, "wrapped")
            sys.exit(READER_GONE if gone else end.code)
    sys.exit(0)
