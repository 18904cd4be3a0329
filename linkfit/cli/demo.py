"""``linkfit demo``: the main job on the invented dig camp."""

from typing import Annotated

import typer

from linkfit.cli.options import AsJson, Seed


def demo(
    output: Annotated[
        str, typer.Option("--output", "-o", metavar="DIR", help="Folder for the figures.")
    ] = "linkfit-demo",
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:
    """Advise an invented dig camp, with figures and a report.

    Reads its measurements, prints what "linkfit advise" prints, writes the figures of the
    link and of the advice, and ends with the capacity report and its path.
    """
    from linkfit.cli import figures
    from linkfit.cli.console import show, show_json, tell, working_on
    from linkfit.cli.demo_files import FIRST_DAY, demo_folder
    from linkfit.cli.files import writable_folder
    from linkfit.cli.link_input import QuickNumbers, TraceInput, link_from
    from linkfit.cli.report_files import Targets, put
    from linkfit.cli.report_input import inputs_for
    from linkfit.report.advice_text import advice_text
    from linkfit.report.page.content import report_of
    from linkfit.report.page.material import gather
    from linkfit.site.file import parse_site

    folder = demo_folder()
    page = writable_folder(output) / "report.html"
    text = (folder / "examples" / "kestrel-ridge.toml").read_text(encoding="utf-8")
    site = parse_site(text, source="kestrel-ridge.toml")
    traces = str(folder / "traces" / "kestrel-ridge")
    given = TraceInput(paths=(traces,), timezone=site.timezone)
    link = link_from(given, QuickNumbers(), seed=seed, families=True)
    with working_on("judging services and looking for changes"):
        found = gather(site, link, seed=seed, start=FIRST_DAY)
    if as_json:
        show_json(found.record)
    else:
        show(*advice_text(found.record))
    figures.write_link(link, output, seed=seed)
    figures.write_advice(found.advice, output)
    with working_on("writing the report"):
        inputs = inputs_for(link, text, seed=seed, start=FIRST_DAY)
        put(report_of(found, inputs), inputs, Targets(files=(page,), figures=None), say=tell)
    tell("The camp and its measurements are invented. Now your own: linkfit new --help")
