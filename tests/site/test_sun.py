"""Sun by month and a panel's losses, as a site file says them."""

import pytest
from pydantic import BaseModel

from linkfit.errors import InputError
from linkfit.site.file import parse_site
from linkfit.site.sun import (
    MONTH_NAMES,
    USUAL_LOSSES,
    Losses,
    SunHoursText,
    month_number,
    total_loss_frac,
)


class Table(BaseModel):
    sun: SunHoursText = 0.0
    losses: Losses = {}


SITE = """[site]
name = "hut"
[power]
battery = "640 Wh"
load = "13 W"
panel = "120 W"
"""


def test_the_usual_losses_of_a_plant():
    """14.0757 %: the default of a public calculator, as read in a reference library's tests.

    That the total follows from these ten causes is a value from memory.
    """
    assert total_loss_frac(USUAL_LOSSES) == pytest.approx(0.14075660688264469, abs=1e-12)
    assert total_loss_frac({}) == 0
    assert total_loss_frac({"shading": 1.0, "age": 0.5}) == 1


def test_sun_as_a_number_a_list_or_a_table():
    hours = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0]
    assert Table(sun=3.5).sun.mean_h == 3.5
    assert Table(sun=3.5).sun.by_month_h == ()
    listed = Table(sun=hours).sun
    assert listed == Table(sun=dict(zip(MONTH_NAMES, hours, strict=True))).sun
    assert (listed.mean_h, listed.by_month_h[11]) == (3.5, 1.0)


@pytest.mark.parametrize(("sun", "message"), [
    ([1.0] * 11, "expected twelve numbers, got 11"),
    ([1.0] * 11 + [25], "expected hours from 0 to 24, got 25"),
    ("3 h", "expected hours from 0 to 24, got '3 h'"),
    ({"january": 1.0}, "expected the twelve months, got no february"),
    ({"jan": 1.0}, "expected the twelve months, got the unknown 'jan'"),
])  # fmt: skip
def test_wrong_sun_says_what_to_write(sun, message):
    with pytest.raises(ValueError, match=message):
        Table(sun=sun)


def test_losses_that_are_named_replace_the_usual_ones():
    assert Table(losses={"shading": 0.5}).losses == {**USUAL_LOSSES, "shading": 0.5}
    with pytest.raises(ValueError, match=r"expected one of soiling, .*, got 'dust'"):
        Table(losses={"dust": 0.5})
    with pytest.raises(ValueError, match="shading: expected a share from 0 to 1, got 3"):
        Table(losses={"shading": 3})


def test_a_site_file_with_all_of_it():
    power = parse_site(
        SITE + 'load_busy = "16 W"\nsun_hours = [1,1,1,1,1,1,1,1,1,1,1,2.2]\n'
        "losses = { shading = 0.2 }\ncharger = 0.95\ninverter = 0.96\n"
    ).hours.power
    usual = 1 - 0.14075660688264469
    assert power.yield_frac == pytest.approx(usual / 0.97 * 0.8 * 0.95)
    assert (power.load_busy_w, power.output_frac) == (16, 0.96)
    assert power.sun_hours == pytest.approx(1.1)
    assert power.sun_hours_in(12) == 2.2
    assert power.sun_hours_in(None) == pytest.approx(1.1)


@pytest.mark.parametrize(("lines", "message"), [
    ('losses = {}\npanel_yield = 0.6', "losses: expected panel_yield or losses, got both"),
    ('load_busy = "9 W"', "load_busy: expected at least the load of 13 W, got 9 W"),
    ("inverter = 0.0", "inverter: expected more than 0, got 0"),
])  # fmt: skip
def test_what_contradicts_itself_is_told(lines, message):
    with pytest.raises(InputError, match=message):
        parse_site(SITE + lines + "\n")


@pytest.mark.parametrize(("text", "number"), [
    ("december", 12), ("Dec", 12), ("1", 1), ("may", 5), ("June", 6),
])  # fmt: skip
def test_months_have_names_and_numbers(text, number):
    assert month_number(text, where="--month") == number


@pytest.mark.parametrize("text", ["13", "0", "ju", "x", ""])
def test_no_month(text):
    with pytest.raises(InputError, match="--month: expected a month as december or 12, got"):
        month_number(text, where="--month")
