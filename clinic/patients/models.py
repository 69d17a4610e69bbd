"""The patient as the clinical record knows them: no name here."""

from datetime import date
from typing import ClassVar

from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from clinic.access.constraints import one_of
from clinic.access.models import Member, Practice, Versioned
from clinic.vocabulary.procedure import Answer, Sex

RISK_FIELDS = ("diabetes", "antithrombotic", "poor_circulation", "immunosuppressed")


class PatientQuerySet(models.QuerySet["Patient"]):
    def visible_to(self, member: Member) -> "PatientQuerySet":
        """Every read starts here: only the member's own practice."""
        return self.filter(practice_id=member.practice_id)


class Patient(Versioned):
    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="patients")
    sex = models.CharField(max_length=15, choices=Sex.choices, default=Sex.NOT_RECORDED)
    diabetes = models.CharField(max_length=15, choices=Answer.choices, default=Answer.NOT_RECORDED)
    antithrombotic = models.CharField(max_length=15, choices=Answer.choices, default=Answer.NOT_RECORDED)
    poor_circulation = models.CharField(max_length=15, choices=Answer.choices, default=Answer.NOT_RECORDED)
    immunosuppressed = models.CharField(max_length=15, choices=Answer.choices, default=Answer.NOT_RECORDED)
    no_contact_wished = models.BooleanField(default=False)
    died_on = models.DateField(null=True, blank=True)
    # The entry that stands for both, where one person was registered twice; never a chain of more than one step.
    merged_into = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="merged")
    history = HistoricalRecords()

    objects = PatientQuerySet.as_manager()

    class Meta:
        constraints: ClassVar = [
            one_of("patient", "sex", Sex),
            models.CheckConstraint(condition=~Q(merged_into=models.F("pk")), name="patient_not_merged_into_itself"),
            *(one_of("patient", field, Answer) for field in RISK_FIELDS),
        ]

    def __str__(self) -> str:
        return f"Patient {self.key}"

    def operated_after(self, day: date) -> date | None:
        """The latest day after `day` of an operation on record; None where there is none."""
        later = self.operations.filter(struck_at__isnull=True, performed_on__gt=day)
        return later.aggregate(latest=models.Max("performed_on"))["latest"]

    @property
    def person(self) -> "Patient":
        """The entry that stands for this person; itself unless it was merged."""
        return self.merged_into or self
