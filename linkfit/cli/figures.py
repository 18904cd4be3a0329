"""Figures that commands write into a folder, and the message that names them."""

from typing import TYPE_CHECKING

from linkfit.cli.console import tell, working_on
from linkfit.cli.files import writable_folder
from linkfit.units import format_count

if TYPE_CHECKING:
    from linkfit.advice.advise import Advice
    from linkfit.advice.compared_links import LinkComparison
    from linkfit.forecast.backtest_scores import BacktestScore
    from linkfit.link.model import LinkModel


def write_link(link: "LinkModel", folder: str, *, kind: str = "svg", seed: int = 0) -> None:
    """Write the figures of a fitted link, and say where."""
    place = writable_folder(folder)
    with working_on("drawing figures"):
        from linkfit.report.link_figures import write_link_figures

        written = write_link_figures(link, place, kind=kind, seed=seed)
    tell(f"{format_count(len(written), 'figure')} of the link in {folder}")


def write_advice(advice: "Advice", folder: str, *, kind: str = "svg") -> None:
    """Write the figures of an advice, and say where."""
    place = writable_folder(folder)
    with working_on("drawing figures"):
        from linkfit.report.advice_figures import write_advice_figures

        written = write_advice_figures(advice.before, advice.after, place, kind=kind)
    tell(f"{format_count(len(written), 'figure')} of the advice in {folder}")


def write_backtest(score: "BacktestScore", folder: str, *, kind: str = "svg") -> None:
    """Write the figures of a backtest, and say where."""
    place = writable_folder(folder)
    with working_on("drawing figures"):
        from linkfit.report.backtest_figures import write_backtest_figures

        written = write_backtest_figures(score, place, kind=kind)
    tell(f"{format_count(len(written), 'figure')} of the backtest in {folder}")


def write_comparison(found: "LinkComparison", folder: str, *, kind: str = "svg") -> None:
    """Write the figures of a comparison, and say where."""
    place = writable_folder(folder)
    with working_on("drawing figures"):
        from linkfit.report.compare_figures import write_compare_figures

        written = write_compare_figures(found, place, kind=kind)
    tell(f"{format_count(len(written), 'figure')} of the comparison in {folder}")
