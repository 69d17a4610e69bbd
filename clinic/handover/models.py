"""Who took the practice's own data, when, what and why."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from clinic.access.models import Member, Practice
from clinic.patients.models import Patient


class Kind(models.TextChoices):
    CSV = "csv", "All records, CSV"
    XLSX = "xlsx", "All records, XLSX"
    FHIR = "fhir", "One patient, FHIR"


class Handover(models.Model):
    """One file that was taken. Written in the same transaction, so nothing leaves without it; never changed."""

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="handovers")
    member = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, null=True, blank=True, related_name="handovers")
    kind = models.CharField(max_length=5, choices=Kind.choices)
    purpose = models.CharField(max_length=300)
    rows = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    at = models.DateTimeField()

    class Meta:
        ordering = ("at", "pk")
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(kind__in=Kind.values), name="handover_kind_known"),
            models.CheckConstraint(condition=~Q(purpose=""), name="handover_says_what_for"),
            models.CheckConstraint(
                condition=Q(kind="fhir", patient__isnull=False) | (~Q(kind="fhir") & Q(patient__isnull=True)),
                name="handover_of_a_patient_names_one",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.at:%Y-%m-%d}"
