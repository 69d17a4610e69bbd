"""The standing clock, and two entries of one person."""

from datetime import UTC, datetime

import pytest
import time_machine

from tests.factories import create_patient

NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as travelling:
        yield travelling


@pytest.fixture
def kept(practice):
    return create_patient(practice, family_name="Twinname", given_name="Rowan")


@pytest.fixture
def other(practice):
    return create_patient(practice, family_name="Twynname", given_name="Rowan")
