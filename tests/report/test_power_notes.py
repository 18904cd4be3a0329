from dataclasses import replace

from linkfit.report.power_notes import power_notes
from linkfit.site.hours import Power

HUT = Power(battery_wh=640, load_w=13, panel_w=120, sun_hours=3.7)


def test_one_number_for_the_sun_is_told_as_such():
    assert "used as it stands" in power_notes(HUT)[1]
    assert "used for december as it stands" in power_notes(HUT, "December")[1]
    assert len(power_notes(replace(HUT, sun_hours_by_month=(1.0,) * 12))) == 1


def test_without_a_panel_there_is_no_sun_to_tell_of():
    assert power_notes(replace(HUT, panel_w=0)) == [
        "without a panel the battery is taken to be charged elsewhere once a day"
    ]
