"""Acts on a patient: register, change. Each is one transaction with its history and its search index."""

from collections.abc import Mapping

from django.db import transaction

from clinic.access.models import Member
from clinic.patients.identity import Identity
from clinic.patients.models import Patient


@transaction.atomic
def register_patient(
    *, by: Member, identity: Mapping[str, str], answers: Mapping[str, object], patient: Patient | None = None
) -> Patient:
    """A new patient of the member's practice, found from then on by name and record number.

    identity: family_name, given_name, born_on_text, record_number, phone, email.
    answers: sex and the risk answers; what is not given is stored as not recorded.
    patient: an unsaved one, where its key had to be known before.
    Raises IntegrityError if the practice has the record number already.
    """
    patient = patient or Patient()
    patient.practice = by.practice
    _put(patient, answers)
    patient.keep(by=by, reason="Registered")
    who = Identity(patient=patient, **identity)
    who.index()
    who.keep(by=by, reason="Registered")
    who.index_names()
    return patient


@transaction.atomic
def change_identity(
    *,
    by: Member,
    patient: Patient,
    identity: Mapping[str, str],
    answers: Mapping[str, object],
    versions: tuple[int, int],
    reason: str,
) -> Patient:
    """Write the changed values as the next versions.

    versions: of the identity and of the patient, as they were shown. Raises Conflict if either has moved on.
    """
    who = patient.identity
    who.version, patient.version = versions
    _put(who, identity)
    who.index()
    who.save_version(by=by, reason=reason)
    who.index_names()
    _put(patient, answers)
    patient.save_version(by=by, reason=reason)
    return patient


def _put(row: Patient | Identity, values: Mapping[str, object]) -> None:
    for name, value in values.items():
        setattr(row, name, value)
