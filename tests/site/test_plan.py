"""The data plan checks itself."""

import pytest

from linkfit.errors import InputError
from linkfit.site.plan import Plan


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Plan(cap_bytes=0), "cap: expected a finite number > 0, got 0"),
        (lambda: Plan(cycle_day=32), "cycle_day: expected 1 to 31, got 32"),
        (lambda: Plan(throttle_bps=1, price_per_gb=1), "after_cap: expected a rate, 'stop' or"),
    ],
)
def test_wrong_values_are_named_and_shown(make, message):
    with pytest.raises(InputError, match=message):
        make()
