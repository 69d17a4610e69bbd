"""The patient that an address or a form is about, where one person may have been entered twice."""

from django.db import transaction
from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from clinic.patients.models import Patient


def own_patient(request: HttpRequest, key: str) -> Patient:
    """The patient of the member's practice with this key; of one entered twice, the entry that stands for both."""
    visible = Patient.objects.visible_to(request.user).select_related("identity", "merged_into__identity")
    return get_object_or_404(visible, key=key).person


def lock_person(patient: Patient) -> Patient:
    """Hold the patient until the transaction ends, and give the entry that stands for them by now.

    A form that was open while two entries were merged writes into the one that stayed.
    """
    if not transaction.get_connection().in_atomic_block:
        raise transaction.TransactionManagementError("lock_person() belongs inside transaction.atomic()")
    held = Patient.objects.select_for_update().get(pk=patient.pk)
    if held.merged_into_id is None:
        return patient
    return Patient.objects.select_for_update().get(pk=held.merged_into_id)
