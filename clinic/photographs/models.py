"""A photograph of one toe: whose consent, when taken, and under which name its files lie."""

import secrets
from datetime import date
from typing import ClassVar

from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from clinic.access.constraints import between, one_of
from clinic.access.models import Member
from clinic.photographs.cleaning import LONGEST_EDGE, MEDIA_TYPES
from clinic.procedures.models import NailProcedure, Strikable
from clinic.vocabulary.photograph import PhotographUse
from clinic.vocabulary.procedure import ConsentGiver

NOT_BEFORE = date(1900, 1, 1)


def random_file_name() -> str:
    """128 bits, derived from nothing."""
    return secrets.token_hex(16)


class PhotographQuerySet(models.QuerySet["Photograph"]):
    def visible_to(self, member: Member) -> "PhotographQuerySet":
        return self.filter(nail_procedure__operation__practice_id=member.practice_id)

    def standing(self) -> "PhotographQuerySet":
        """Neither struck out nor deleted."""
        return self.filter(struck_at__isnull=True, withdrawn_at__isnull=True)


class Photograph(Strikable):
    """The row outlives its files: where consent was withdrawn it still says that there was a picture."""

    nail_procedure = models.ForeignKey(NailProcedure, on_delete=models.PROTECT, related_name="photographs")
    # Named, not imported: reviews stand above photographs.
    review = models.ForeignKey(
        "clinic.Review", on_delete=models.PROTECT, null=True, blank=True, related_name="photographs"
    )
    taken_on = models.DateField()
    consent_for = models.CharField(max_length=15, choices=PhotographUse.choices)
    consent_given_by = models.CharField(max_length=15, choices=ConsentGiver.choices)
    consent_given_on = models.DateField()
    note = models.CharField(max_length=200, blank=True, default="")
    file_name = models.CharField(max_length=32, unique=True, default=random_file_name, editable=False)
    media_type = models.CharField(max_length=10, editable=False)
    width = models.PositiveSmallIntegerField(editable=False)
    height = models.PositiveSmallIntegerField(editable=False)
    sha256 = models.CharField(max_length=64, editable=False)
    added_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="photographs_added")
    added_at = models.DateTimeField()
    withdrawn_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    history = HistoricalRecords()

    objects = PhotographQuerySet.as_manager()

    class Meta:
        ordering = ("taken_on", "pk")
        indexes: ClassVar = [
            models.Index(fields=["nail_procedure", "taken_on"]),
            models.Index(fields=["sha256"]),
        ]
        constraints: ClassVar = [
            one_of("photograph", "consent_for", PhotographUse),
            one_of("photograph", "consent_given_by", ConsentGiver),
            models.CheckConstraint(
                condition=~Q(consent_given_by=ConsentGiver.NOT_RECORDED.value), name="photograph_has_consent"
            ),
            models.CheckConstraint(
                condition=Q(taken_on__gte=NOT_BEFORE, consent_given_on__gte=NOT_BEFORE),
                name="photograph_not_before_1900",
            ),
            models.CheckConstraint(
                condition=Q(media_type__in=sorted(MEDIA_TYPES.values())), name="photograph_media_type_known"
            ),
            between("photograph", "width", 1, LONGEST_EDGE),
            between("photograph", "height", 1, LONGEST_EDGE),
            models.CheckConstraint(condition=~Q(file_name="") & ~Q(sha256=""), name="photograph_names_its_file"),
            models.CheckConstraint(
                condition=Q(struck_at__isnull=True) | ~Q(struck_reason=""), name="photograph_struck_with_reason"
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_by__isnull=True, withdrawn_at__isnull=True)
                | Q(withdrawn_by__isnull=False, withdrawn_at__isnull=False),
                name="photograph_withdrawn_by_and_at",
            ),
        ]

    def __str__(self) -> str:
        return f"Photograph {self.key}"

    @property
    def day(self) -> int:
        """Days since the operation; negative before it."""
        return (self.taken_on - self.nail_procedure.operation.performed_on).days

    @property
    def has_file(self) -> bool:
        """Whether there is a picture to see."""
        return self.withdrawn_at is None
