"""Network classes against RFC 5976 section 2.1, which restates ITU-T Y.1541."""

import pytest

from linkfit.errors import InputError
from linkfit.forecast.network_class import CLASSES, classes_met


@pytest.mark.parametrize(
    ("number", "delay_s", "variation_s", "loss_frac"),
    [
        (0, 0.1, 0.05, 1e-3), (1, 0.4, 0.05, 1e-3), (2, 0.1, None, 1e-3), (3, 0.4, None, 1e-3),
        (4, 1.0, None, 1e-3), (5, None, None, None), (6, 0.1, 0.05, 1e-5), (7, 0.4, 0.05, 1e-5),
    ],
)  # fmt: skip
def test_the_table(number, delay_s, variation_s, loss_frac):
    one = CLASSES[number]
    bounds = (one.number, one.delay_s, one.variation_s, one.loss_frac)
    assert bounds == (number, delay_s, variation_s, loss_frac)


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ((0.02, 0.01, 0.0), (0, 1, 2, 3, 4, 5, 6, 7)),
        ((0.1, 0.05, 1e-3), (0, 1, 2, 3, 4, 5)),
        ((0.2, 0.03, 1e-4), (1, 3, 4, 5)),
        ((0.05, 0.2, 1e-4), (2, 3, 4, 5)),
        ((0.05, 0.01, 1e-2), (5,)),
        ((2.0, 0.01, 0.0), (5,)),
    ],
)
def test_classes_that_a_path_keeps(path, expected):
    assert classes_met(*path) == expected


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match="loss_frac: expected a number from 0 to 1, got 2"):
        classes_met(0.1, 0.1, 2.0)
