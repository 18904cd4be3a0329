from datetime import UTC, datetime

import pytest


@pytest.fixture
def start_of_june():
    return datetime(2026, 6, 1, 8, 0, tzinfo=UTC)
