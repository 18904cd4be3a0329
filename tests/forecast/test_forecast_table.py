import numpy as np
import pytest

from linkfit.forecast.draws import Forecast


@pytest.mark.parametrize(
    ("unit", "median"), [("s", "2.0 s"), ("days", "2.0 days"), ("bit/s", "2.00 bit/s"),
                         ("bytes", "2.00 B"), ("users", "2 users")]
)  # fmt: skip
def test_points_stand_with_their_unit(unit, median):
    one = Forecast(draws=np.array([1.0, 2.0, 3.0]), unit=unit, world=np.zeros(3, np.int32),
                   parts={"round trips": 1.0})  # fmt: skip
    text = one._repr_html_()
    assert f'<th scope="row">median</th><td>{median}</td>' in text
    assert "Forecast of 3 draws in 1 worlds" in text
    assert "of the median: round trips" in text


def test_never_is_said():
    one = Forecast(draws=np.array([1.0, np.inf]), unit="s", world=np.zeros(2, np.int32))
    assert "<td>never</td>" in one._repr_html_()
