"""A patient's one-time link, and what the patient said through it."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q
from simple_history.models import HistoricalRecords

from clinic.access.constraints import one_of
from clinic.access.models import Member, Versioned
from clinic.procedures.models import NailProcedure, Operation
from clinic.reviews.models import Review
from clinic.vocabulary.recall import FluidSeen, LinkReason, ReportFlag


class ReportLink(Versioned):
    """One secret address. Only a digest of it is kept: nobody can read an address out of the database.

    used_at: when the answers were sent; opening it changes nothing. ended_at: when a newer one took its place.
    """

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="report_links")
    digest = models.CharField(max_length=64, unique=True, editable=False)
    about = models.CharField(max_length=15, choices=LinkReason.choices)
    made_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            one_of("reportlink", "about", LinkReason),
            models.CheckConstraint(condition=Q(expires_at__gt=F("made_at")), name="reportlink_expires_after_made"),
            models.UniqueConstraint(
                fields=["operation"], condition=Q(used_at__isnull=True, ended_at__isnull=True),
                name="one_open_link_per_operation",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"Link {self.pk} of operation {self.operation_id}"


class PatientReport(Versioned):
    """Answers sent through a link, beside the review they became. flags: codes of ReportFlag, worked out on arrival.

    answered_at: somebody has called, booked or decided that nothing is needed; only flagged ones wait for it.
    """

    review = models.OneToOneField(Review, on_delete=models.PROTECT, related_name="patient_report")
    link = models.OneToOneField(ReportLink, on_delete=models.PROTECT, related_name="report")
    sent_at = models.DateTimeField()
    wants_call = models.BooleanField()
    flags = models.JSONField(default=list)
    is_flagged = models.BooleanField()
    answered_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    answered_at = models.DateTimeField(null=True, blank=True)
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(answered_by__isnull=True, answered_at__isnull=True)
                | Q(answered_by__isnull=False, answered_at__isnull=False),
                name="patientreport_answered_by_and_at",
            ),
        ]

    def __str__(self) -> str:
        return f"Report {self.key}"

    @property
    def has_sign(self) -> bool:
        """Whether the patient should not wait for anybody to read it."""
        return any(ReportFlag(code).is_sign for code in self.flags)

    @property
    def flag_words(self) -> list[str]:
        return [ReportFlag(code).label for code in self.flags]


class ReportedToe(models.Model):
    """What the patient saw at one toe, in the patient's words; never read as a clinician's finding."""

    report = models.ForeignKey(PatientReport, on_delete=models.PROTECT, related_name="toes")
    nail_procedure = models.ForeignKey(NailProcedure, on_delete=models.PROTECT, related_name="+")
    fluid = models.CharField(max_length=10, choices=FluidSeen.choices)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["report", "nail_procedure"], name="reported_toe_once"),
            one_of("reportedtoe", "fluid", FluidSeen),
        ]

    def __str__(self) -> str:
        return f"Toe of report {self.report_id}"
