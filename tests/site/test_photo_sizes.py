"""The measured law of photo sizes against the medians it was fitted to."""

import warnings

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import ExtrapolationWarning
from linkfit.site.model import Image, SizeLaw
from linkfit.site.photo_sizes import measured_range_problem, photo_size, resized

# medians in kB of an open photo set, 114 JPEGs (2560 px: 76): edge, JPEG q75, q80, q85, WebP q80
MEASURED = [
    (250, 9, 10, 12, 8),
    (512, 31, 35, 42, 27),
    (720, 57, 66, 78, 48),
    (1080, 114, 131, 155, 91),
    (1440, 181, 209, 251, 138),
    (1920, 290, 340, 414, 212),
    (2048, 326, 390, 473, 241),
    (2560, 484, 563, 668, 337),
]


@pytest.mark.parametrize(("edge", "q75", "q80", "q85", "webp"), MEASURED)
def test_the_law_meets_the_measured_medians(edge, q75, q80, q85, webp):
    # the table is in whole kB: one unit of it, or 6 % for the fit
    for quality, median_kb in ((75, q75), (80, q80), (85, q85)):
        size = photo_size(Image(edge_px=edge, quality=quality))
        assert size.median_bytes / 1e3 == pytest.approx(median_kb, rel=0.06, abs=1.0)
    size = photo_size(Image(edge_px=edge, format="webp"))
    assert size.median_bytes / 1e3 == pytest.approx(webp, rel=0.06, abs=1.0)


def test_the_factors_of_quality_are_met_exactly():
    at_80 = photo_size(Image(edge_px=1000)).median_bytes
    assert at_80 == pytest.approx(113e3)
    assert photo_size(Image(edge_px=1000, quality=75)).median_bytes == pytest.approx(0.86 * at_80)
    assert photo_size(Image(edge_px=1000, quality=85)).median_bytes == pytest.approx(1.2 * at_80)
    assert photo_size(Image(edge_px=1000, format="webp")).median_bytes == pytest.approx(78e3)


def test_spreads_lie_in_the_measured_ranges():
    assert 1.5 <= photo_size(Image(edge_px=1000)).spread <= 1.7
    assert 1.8 <= photo_size(Image(edge_px=1000, format="webp")).spread <= 2.1


@given(st.integers(250, 2559), st.integers(75, 84))
def test_larger_and_finer_pictures_take_more_bytes(edge, quality):
    here = photo_size(Image(edge_px=edge, quality=quality)).median_bytes
    assert photo_size(Image(edge_px=edge + 1, quality=quality)).median_bytes > here
    assert photo_size(Image(edge_px=edge, quality=quality + 1)).median_bytes > here


@pytest.mark.parametrize(
    ("image", "problem"),
    [
        (Image(edge_px=200), "edge: measured from 250 to 2560 px, got 200 px"),
        (Image(edge_px=6000), "edge: measured from 250 to 2560 px, got 6000 px"),
        (Image(edge_px=1000, quality=95), "jpeg quality: measured from 75 to 85, got 95"),
        (Image(edge_px=1000, quality=75, format="webp"), "webp quality: measured at 80, got 75"),
    ],
)
def test_beyond_the_measurements_a_warning_says_so(image, problem):
    assert measured_range_problem(image) == problem
    with pytest.warns(ExtrapolationWarning, match=problem):
        assert photo_size(image).median_bytes > 0


def test_within_the_measurements_no_warning():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        photo_size(Image(edge_px=250))
        photo_size(Image(edge_px=2560, quality=85))


@given(st.floats(1e3, 1e7), st.floats(1, 4), st.integers(250, 2560), st.integers(250, 2560))
def test_resizing_there_and_back_changes_nothing(median_bytes, spread, edge, other):
    size = SizeLaw(median_bytes=median_bytes, spread=spread)
    a, b = Image(edge_px=edge), Image(edge_px=other)
    back = resized(resized(size, a, b), b, a)
    assert back.median_bytes == pytest.approx(median_bytes)
    assert back.spread == spread


def test_another_encoder_brings_its_own_spread():
    size = SizeLaw(median_bytes=113e3, spread=1.4)
    webp = resized(size, Image(edge_px=1000), Image(edge_px=1000, format="webp"))
    assert webp.median_bytes == pytest.approx(78e3)
    assert webp.spread == photo_size(Image(edge_px=1000, format="webp")).spread
