"""A toe of a patient born 17 May 1990, a folder of its own for files, and the day on which everything here happens."""

from datetime import UTC, date, datetime

import pytest
import time_machine

from tests.factories import create_operation, create_patient

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
OPERATED_ON = date(2026, 10, 14)


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def folder(settings, tmp_path):
    """Where files lie; empty at first. A file anywhere else below it would show, too."""
    settings.PHOTOGRAPH_DIR = tmp_path / "photographs"
    # A file part that went to disk before it was cleaned would fail there.
    settings.FILE_UPLOAD_TEMP_DIR = str(tmp_path / "no such folder")
    return tmp_path


@pytest.fixture
def nail(practice, practitioner):
    patient = create_patient(practice)
    operation = create_operation(practice, patient=patient, operator=practitioner, performed_on=OPERATED_ON)
    return operation.nail_procedures.get()


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)
