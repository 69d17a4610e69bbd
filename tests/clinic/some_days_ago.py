"""A clock that stands still, and operations some days ago."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from clinic.procedures.models import Operation
from tests.factories import create_operation, create_patient

NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
TODAY = date(2026, 11, 25)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as travelling:
        yield travelling


@pytest.fixture
def operated(practice, practitioner) -> Callable[..., Operation]:
    def made(days_ago: int, family_name: str = "Example", *, phone: str = "", email: str = "", **fields) -> Operation:
        patient = fields.pop("patient", None) or create_patient(practice, family_name=family_name)
        if phone or email:
            patient.identity.phone, patient.identity.email = phone, email
            patient.identity.save()
        performed_on = TODAY - timedelta(days=days_ago)
        return create_operation(patient=patient, operator=practitioner, performed_on=performed_on, **fields)

    return made
