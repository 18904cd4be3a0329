"""Values that follow from what was forecast of uploads."""

import math

import numpy as np

from linkfit.forecast.chances import Chance
from linkfit.forecast.draws import Forecast
from linkfit.forecast.upload_outcomes import PieceRow


def test_means_count_futures_that_give_up():
    world = np.zeros(4, np.int32)
    row = PieceRow(
        piece_bytes=1e6,
        time=Forecast(draws=np.array([1.0, 2.0, 3.0, math.inf]), unit="s", world=world),
        wasted=Forecast(draws=np.array([0.0, 0.0, 2e6, 6e6]), unit="bytes", world=world),
        passes=Chance(prob=0.5, low_prob=0.4, high_prob=0.6),
        refused=False,
    )
    assert math.isinf(row.mean_s)
    assert row.mean_wasted_bytes == 2e6
