"""Where the invented scenario lies: inside an installed wheel, or in the checkout."""

from datetime import date
from pathlib import Path

from linkfit.errors import InputError

FIRST_DAY = date(2026, 6, 29)  # the morning after the invented measurements end
_PACKAGE = Path(__file__).parents[1]


def demo_folder() -> Path:
    """The folder that holds ``examples/kestrel-ridge.toml`` and ``traces/kestrel-ridge``."""
    for folder in (_PACKAGE / "demo_data", _PACKAGE.parent):
        if (folder / "examples" / "kestrel-ridge.toml").is_file():
            return folder
    raise InputError(
        "demo: expected its site file and measurements beside the program, got neither; "
        "install linkfit again"
    )
