import pytest

from linkfit.errors import InputError
from linkfit.ingest.options import ReadOptions, no_progress


@pytest.mark.parametrize(("options", "text"), [
    ({"direction": "upwards"}, "direction: expected 'up' or 'down', got 'upwards'"),
    ({"transport": "quic"}, "transport: expected 'unknown' or 'tcp'"),
    ({"step_s": 0.0}, "step_s: expected a finite number > 0, got 0"),
    ({"timezone": "Mars/Olympus"}, "timezone: expected a name such as .* got 'Mars/Olympus'"),
    ({"timezone": "../etc/passwd"}, "timezone: expected a name"),
])  # fmt: skip
def test_an_impossible_option_is_named(options, text):
    with pytest.raises(InputError, match=text):
        ReadOptions(**options)


def test_nothing_need_be_said():
    assert ReadOptions().direction is None
    assert no_progress("f", 1, 2) is None
