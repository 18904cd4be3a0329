"""What every table does: frozen, strict, no unknown keys, no infinities."""

import pytest
from pydantic import ValidationError

from linkfit.site.entry import Count, Entry, Share


class Table(Entry):
    n: Count = 1
    share: Share = 0.0


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        ({"n": "3"}, "int_type"),
        ({"n": True}, "int_type"),
        ({"n": 0}, "greater_than_equal"),
        ({"share": "0.1"}, "float_type"),
        ({"share": float("nan")}, "finite_number"),
        ({"m": 1}, "extra_forbidden"),
    ],
)
def test_nothing_is_guessed(values, kind):
    with pytest.raises(ValidationError, match=f"type={kind}"):
        Table.model_validate(values)


def test_whole_numbers_serve_as_shares():
    assert Table(share=1).share == 1.0
    with pytest.raises(ValidationError, match="frozen_instance"):
        Table().n = 2
