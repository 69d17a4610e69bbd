"""Who the patient is: sealed at rest, found by digests. Nothing clinical, and nothing of the audit reads it."""

from datetime import date
from typing import ClassVar

from django.db import models
from simple_history.models import HistoricalRecords

from clinic.access.models import Member, Versioned
from clinic.patients.models import Patient
from clinic.patients.sealed import (
    SealedField,
    loose_number_digest,
    name_digests,
    query_digests,
    record_number_digest,
)


class Identity(Versioned):
    patient = models.OneToOneField(Patient, on_delete=models.PROTECT, related_name="identity")
    practice_id_of_patient = models.PositiveBigIntegerField(editable=False)
    family_name = SealedField()
    given_name = SealedField(blank=True, default="")
    born_on_text = SealedField()
    record_number = SealedField()
    record_number_digest = models.CharField(max_length=32, editable=False)
    phone = SealedField(blank=True, default="")
    email = SealedField(blank=True, default="")
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["practice_id_of_patient", "record_number_digest"], name="record_number_once_per_practice"
            ),
        ]

    def __str__(self) -> str:
        return f"Identity of {self.patient_id}"

    @property
    def born_on(self) -> date:
        return date.fromisoformat(self.born_on_text)

    @property
    def name(self) -> str:
        """Family name first, as lists are read; a single name stands alone."""
        return f"{self.family_name}, {self.given_name}" if self.given_name else self.family_name

    @property
    def spoken_name(self) -> str:
        return f"{self.given_name} {self.family_name}".strip()

    def age_on(self, day: date) -> int:
        """Completed years on `day`; somebody born on 29 February has a birthday on 1 March in other years."""
        born = self.born_on
        return day.year - born.year - ((day.month, day.day) < (born.month, born.day))

    def index(self) -> None:
        """Fill the digests from the plain values; before the first save and after each change of name or number."""
        self.practice_id_of_patient = self.patient.practice_id
        self.record_number_digest = record_number_digest(self.patient.practice_id, self.record_number)

    def index_names(self) -> None:
        """Rewrite the search digests after the row is saved."""
        NameDigest.objects.filter(identity=self).delete()
        NameDigest.objects.bulk_create(
            NameDigest(identity=self, digest=value) for value in sorted(self.search_digests())
        )

    def search_digests(self) -> set[str]:
        """All that the patient is found by: beginnings of the names and of the number, and the number without signs."""
        practice_id = self.practice_id_of_patient
        digests = name_digests(practice_id, self.family_name, self.given_name, self.record_number)
        return digests | {loose_number_digest(practice_id, self.record_number)}


class NameDigest(models.Model):
    identity = models.ForeignKey(Identity, on_delete=models.CASCADE, related_name="digests")
    digest = models.CharField(max_length=32, db_index=True)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["identity", "digest"], name="name_digest_once")]


def find_patients(member: Member, query: str) -> models.QuerySet[Patient]:
    """Patients of the member's practice whose record number is `query`, with or without its signs, or whose names
    begin with all its words. A name or number of an entry that was merged finds the one that stands for it."""
    found = find_entries(member, query)
    standing = models.Q(merged_into=None, pk__in=found.values("pk")) | models.Q(merged__in=found.values("pk"))
    return Patient.objects.visible_to(member).select_related("identity").filter(standing).distinct()


def find_entries(member: Member, query: str) -> models.QuerySet[Patient]:
    """The same, entry by entry, merged or not."""
    visible = Patient.objects.visible_to(member).select_related("identity")
    by_number = visible.filter(identity__digests__digest=loose_number_digest(member.practice_id, query))
    words = query_digests(member.practice_id, query)
    if not words:
        return visible.none()
    by_name = visible
    for word in words:
        by_name = by_name.filter(identity__digests__digest=word)
    return visible.filter(models.Q(pk__in=by_number.values("pk")) | models.Q(pk__in=by_name.values("pk")))
