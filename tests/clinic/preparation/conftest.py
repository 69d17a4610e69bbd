"""A patient, and the day on which everything here happens."""

from datetime import UTC, datetime

import pytest
import time_machine

from tests.factories import create_patient

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def patient(practice):
    """Born 17 May 1990; a woman, so that every question can arise."""
    return create_patient(practice, sex="female")
