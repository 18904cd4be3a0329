"""Options that several commands share, so that each means the same everywhere."""

from typing import Annotated

import typer

TraceFiles = Annotated[
    list[str],
    typer.Argument(metavar="TRACE...", help="Measurement files or folders of them; - is stdin."),
]
LinkFiles = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="[LINK]...",
        help="The link: trace files, a folder of them, a fitted link.json, or - for stdin. "
        "Leave it out and give --down, --up, --rtt instead.",
        show_default=False,
    ),
]
SiteFile = Annotated[
    str, typer.Argument(metavar="SITE", help="Site file (TOML); - is stdin. See: linkfit new.")
]
Down = Annotated[
    str | None, typer.Option(help='Quick number: rate towards the server, "24 Mbit/s".')
]
Up = Annotated[
    str | None, typer.Option(help='Quick number: rate from the server, "6 Mbit/s".')
]  # fmt: skip
Rtt = Annotated[str | None, typer.Option(help='Quick number: round trip, "55 ms".')]
Direction = Annotated[
    str | None,
    typer.Option(help="up (from the server) or down, for files that do not say it."),
]
Columns = Annotated[
    list[str] | None,
    typer.Option(
        "--columns",
        metavar="HEADER=ROLE",
        help="What a CSV column holds, by header or number from 1; again for each column.",
    ),
]
Units = Annotated[
    list[str] | None,
    typer.Option(
        "--units",
        metavar="COLUMN=UNIT",
        help="Unit of a CSV column, for example rate=Mbit/s; again for each column.",
    ),
]
DurationField = Annotated[
    str | None,
    typer.Option(
        metavar="FIELD=UNIT",
        help="Of an access log: which field is the duration, last=ms, 12=s or rt=us (for rt=5). "
        "The size of requests, if it is there: --columns 8=size.",
    ),
]
Timezone = Annotated[
    str | None,
    typer.Option(help="Zone of times that carry none: Europe/Lisbon. The site's own, else UTC."),
]
RowLength = Annotated[
    str | None,
    typer.Option(
        metavar="TIME", help='How long one row of a table lasts that does not say it, "1 s".'
    ),
]
Saturating = Annotated[
    bool | None,
    typer.Option(
        "--saturating/--not-saturating",
        help="Did the senders of a table of rates try for all they could get? If not, its rates "
        "are lower bounds. A device's own log is taken as not, any other table as saturating.",
        show_default=False,
    ),
]
Start = Annotated[
    str | None,
    typer.Option(metavar="DAY", help="First day of the backlogs, 2026-06-29; today if left out."),
]
Settings = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="PATH=VALUE",
        help="What if: a value as in the site file, plan.cap=100GB, users=20 or "
        "'NAME OF SERVICE.users=12'; none takes a key out; again for each.",
    ),
]
FiguresFolder = Annotated[
    str | None, typer.Option("--figures", metavar="DIR", help="Write figures (SVG) there.")
]
Seed = Annotated[int, typer.Option(min=0, help="Same seed, same result.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
