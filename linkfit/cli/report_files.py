"""Where a report goes: a page, a PDF, Markdown, a folder of figures; told on stdout."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from linkfit.cli.console import tell, working_on, write_out
from linkfit.cli.files import check_free, writable_folder
from linkfit.errors import InputError
from linkfit.units import format_count

if TYPE_CHECKING:
    from linkfit.cli.report_input import Asked
    from linkfit.report.page.blocks import Report
    from linkfit.report.page.inputs import Inputs

ENDINGS = (".html", ".pdf", ".md")


@dataclass(frozen=True, slots=True, kw_only=True)
class Targets:
    """Files by their endings, and a folder for figures."""

    files: tuple[Path, ...]
    figures: str | None

    @classmethod
    def of(cls, output: Sequence[str] | None, figures: str | None, *, replace: bool) -> "Targets":
        """As named on the command line, refused before any work is done."""
        if not output and figures is None:
            raise InputError(
                "--output: expected report.html, report.pdf or report.md, got nothing; or give "
                "--figures DIR"
            )
        for target in output or ():
            if Path(target).suffix not in ENDINGS:
                raise InputError(
                    f"--output: expected a name that ends in {', '.join(ENDINGS)}, got {target!r}"
                )
            check_free(target, replace=replace)
        return cls(files=tuple(Path(target) for target in output or ()), figures=figures)


def write_report(asked: "Asked", targets: Targets) -> None:
    """Make the report and put it into every target; their paths go to stdout."""
    from linkfit.report.page.content import report_of
    from linkfit.report.page.material import gather

    inputs = asked.inputs
    with working_on("judging services, looking for changes, drawing"):
        found = gather(asked.site, asked.link, seed=inputs.seed, start=inputs.start)
        report = report_of(found, inputs)
        put(report, inputs, targets)


def put(
    report: "Report",
    inputs: "Inputs",
    targets: Targets,
    say: Callable[[str], None] = lambda line: write_out(f"{line}\n"),
) -> None:
    """Write `report` into every target, and `say` each path."""
    for path in targets.files:
        data = rendered(report, inputs, path.suffix)
        try:
            path.write_bytes(data)
        except OSError as error:
            raise InputError(
                f"--output: expected a file that can be written, got {str(path)!r} "
                f"({error.strerror}); choose another place"
            ) from error
        say(str(path))
    if targets.figures is not None:
        from linkfit.report.figure_style import FORMATS, save_figure

        folder = writable_folder(targets.figures)
        for picture in report.pictures():
            for kind in FORMATS:
                save_figure(picture.figure, folder / f"{picture.name}.{kind}")
        n_figures = format_count(len(report.pictures()), "figure")
        tell(f"{n_figures}, as SVG and PNG each, in {targets.figures}")


def rendered(report: "Report", inputs: "Inputs", ending: str) -> bytes:
    """The bytes of a file that ends in `ending`."""
    if ending == ".html":
        from linkfit.report.page.html_page import html_page

        return html_page(report, inputs).encode("utf-8")
    if ending == ".md":
        from linkfit.report.page.markdown_page import markdown_page

        return markdown_page(report).encode("utf-8")
    from linkfit.report.page.pdf_page import pdf_page

    return pdf_page(report)
