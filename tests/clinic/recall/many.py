"""Hundreds of operations like a given one, written in bulk."""

from datetime import timedelta

from clinic.patients.identity import Identity
from clinic.patients.models import Patient
from clinic.procedures.models import NailProcedure, Operation, TreatedSide
from clinic.reviews.models import Contact


def many_operations(like: Operation, count: int, *, days_apart: int = 40, tried: bool = True) -> list[Operation]:
    """Each of a patient of their own, over so many days, tried once or not yet."""
    patients = Patient.objects.bulk_create(Patient(practice=like.practice) for _ in range(count))
    identities = [
        Identity(
            patient=patient, practice_id_of_patient=like.practice_id, family_name=f"Many {number:03}",
            born_on_text="1980-01-01", record_number=f"M-{patient.pk}", record_number_digest=f"many-{patient.pk}",
        )
        for number, patient in enumerate(patients)
    ]  # fmt: skip
    Identity.objects.bulk_create(identities)
    operations = Operation.objects.bulk_create(
        Operation(
            practice=like.practice, patient=patient, operator=like.operator,
            performed_on=like.performed_on + timedelta(days=number % days_apart),
            recorded_by=like.operator, recorded_at=like.recorded_at,
        )
        for number, patient in enumerate(patients)
    )  # fmt: skip
    nails = NailProcedure.objects.bulk_create(
        NailProcedure(
            operation=operation, foot="right", toe=1, technique="pna_chemical", matrix_destroyed=True, agent="phenol",
            strength_basis="w_w",
        )
        for operation in operations
    )  # fmt: skip
    TreatedSide.objects.bulk_create(TreatedSide(nail_procedure=nail, side="fibular") for nail in nails)
    Contact.objects.bulk_create(
        Contact(
            operation=operation, made_on=operation.performed_on + timedelta(days=366), channel="phone",
            result="no_answer", recorded_by=like.operator, recorded_at=like.recorded_at,
        )
        for operation in (operations if tried else ())
    )  # fmt: skip
    return operations
