"""What the reader of figures for battery and panel must know of the sun that was used."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from linkfit.site.hours import Power


def power_notes(power: "Power", month: str | None = None) -> list[str]:
    """How sun and panels were taken to vary; `month` was asked for, None: no one month."""
    notes = [
        "sun differs from day to day by half and from year to year by a seventh, panels by a "
        "tenth (common practice, not measured here)"
    ]
    if not power.panel_w or not (power.sun_hours or power.sun_hours_by_month):
        return ["without a panel the battery is taken to be charged elsewhere once a day"]
    if not power.sun_hours_by_month:
        asked = f"for {month.lower()} " if month is not None else ""
        notes.append(
            f"sun_hours is one number, used {asked}as it stands; give twelve (from a solar atlas "
            "of the place) for a figure of each month: winter is far below the mean of the year"
        )
    return notes
