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
    """Advise an invented dig camp, with figures.

    Reads its measurements, prints what "linkfit advise" prints and writes the figures of
    the link and of the advice.
    """
    from linkfit.advice.advise import advise
    from linkfit.cli import figures
    from linkfit.cli.console import show, show_json, tell, working_on
    from linkfit.cli.demo_files import FIRST_DAY, demo_folder
    from linkfit.cli.files import writable_folder
    from linkfit.cli.link_input import QuickNumbers, TraceInput, link_from
    from linkfit.report.advice_json import advice_record
    from linkfit.report.advice_text import advice_text
    from linkfit.site.file import read_site

    folder = demo_folder()
    writable_folder(output)
    site = read_site(folder / "examples" / "kestrel-ridge.toml")
    traces = str(folder / "traces" / "kestrel-ridge")
    given = TraceInput(paths=(traces,), timezone=site.timezone)
    link = link_from(given, QuickNumbers(), seed=seed)
    with working_on("judging services and looking for changes"):
        advice = advise(site, link, seed=seed, start=FIRST_DAY)
        record = advice_record(advice, link)
    if as_json:
        show_json(record)
    else:
        show(*advice_text(record))
    figures.write_link(link, output, seed=seed)
    figures.write_advice(advice, output)
    tell("The camp and its measurements are invented. Now your own: linkfit new --help")
