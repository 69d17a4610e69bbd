"""What a named clinician decided where consent and operation do not name the same."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from clinic.access.constraints import one_of
from clinic.access.models import Member
from clinic.procedures.models import NailProcedure, Operation, PartOfRecord
from clinic.vocabulary.procedure import SiteOutcome


class SiteDecision(PartOfRecord):
    """Who decided what about one difference, and why. Never changed: a later one takes its place.

    fact: the sentence that was on the page. If toe, side or consent change, the difference is open again.
    """

    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="site_decisions")
    nail_procedure = models.ForeignKey(NailProcedure, on_delete=models.PROTECT, related_name="site_decisions")
    fact = models.CharField(max_length=300)
    outcome = models.CharField(max_length=20, choices=SiteOutcome.choices)
    text = models.CharField(max_length=500)
    decided_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()

    class Meta:
        ordering = ("decided_at", "pk")
        constraints: ClassVar = [
            one_of("sitedecision", "outcome", SiteOutcome),
            models.CheckConstraint(condition=~Q(text="") & ~Q(fact=""), name="sitedecision_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.get_outcome_display()}: {self.fact}"

    def operation_pk(self) -> int | None:
        return self.operation_id
