"""Limits of one practice. A row counts only while the practice lead has approved it."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from clinic.access.constraints import between, one_of
from clinic.access.models import Member, Practice, Versioned
from clinic.dosing.amounts import Limit, named
from clinic.vocabulary.procedure import Anaesthetic, VasoconstrictorKind

APPROVED = Q(approved_on__isnull=False)


class DoseLimitQuerySet(models.QuerySet["DoseLimit"]):
    def visible_to(self, member: Member) -> "DoseLimitQuerySet":
        return self.filter(practice_id=member.practice_id)

    def approved(self) -> "DoseLimitQuerySet":
        return self.filter(APPROVED)


class DoseLimit(Versioned):
    """A shipped candidate that the lead took over, or an own row.

    needs_check: a value was written from memory and nobody has checked it yet. checked_against: the label or protocol
    that the lead read when approving.
    """

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="dose_limits")
    profile = models.CharField(max_length=40)
    agent = models.CharField(max_length=20, choices=Anaesthetic.choices)
    vasoconstrictor = models.CharField(max_length=20, choices=VasoconstrictorKind.choices)
    mg_per_kg = models.DecimalField(max_digits=4, decimal_places=2, null=True, blank=True)
    absolute_mg = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    per_digit_mg = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    weight_cap_kg = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    period_h = models.PositiveSmallIntegerField(null=True, blank=True)
    source_text = models.CharField(max_length=300)
    needs_check = models.BooleanField(default=False)
    checked_against = models.CharField(max_length=200, blank=True, default="")
    approved_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    approved_on = models.DateField(null=True, blank=True)
    history = HistoricalRecords()

    objects = DoseLimitQuerySet.as_manager()

    class Meta:
        constraints: ClassVar = [
            one_of("doselimit", "agent", Anaesthetic),
            # "Other" is several drugs; one limit cannot hold for them.
            models.CheckConstraint(condition=~Q(agent=Anaesthetic.OTHER.value), name="doselimit_agent_named"),
            one_of("doselimit", "vasoconstrictor", VasoconstrictorKind),
            models.CheckConstraint(condition=~Q(profile="") & ~Q(source_text=""), name="doselimit_profile_and_source"),
            between("doselimit", "mg_per_kg", 0.1, 20),
            between("doselimit", "absolute_mg", 1, 2000),
            between("doselimit", "per_digit_mg", 1, 500),
            between("doselimit", "weight_cap_kg", 5, 300),
            between("doselimit", "period_h", 1, 72),
            models.CheckConstraint(
                condition=Q(mg_per_kg__isnull=False) | Q(absolute_mg__isnull=False), name="doselimit_limits_something"
            ),
            models.CheckConstraint(
                condition=Q(weight_cap_kg__isnull=True) | Q(mg_per_kg__isnull=False), name="doselimit_cap_of_mg_per_kg"
            ),
            models.CheckConstraint(
                condition=Q(approved_by__isnull=True, approved_on__isnull=True, checked_against="")
                | Q(approved_by__isnull=False, approved_on__isnull=False, needs_check=False) & ~Q(checked_against=""),
                name="doselimit_approved_when_checked",
            ),
            models.UniqueConstraint(
                fields=["practice", "profile", "agent", "vasoconstrictor"], name="doselimit_profile_once"
            ),
            models.UniqueConstraint(
                fields=["practice", "agent", "vasoconstrictor"], condition=APPROVED, name="doselimit_one_approved"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.drug_name}: {self.profile}"

    @property
    def drug_name(self) -> str:
        """'plain lidocaine'."""
        return named(self.limit.drug)

    @property
    def stamp(self) -> str:
        """Names this version of the row, for a form that must end exactly what it showed."""
        return f"{self.key}.{self.version}"

    @property
    def limit(self) -> Limit:
        """The row as the arithmetic takes it."""
        return Limit(
            agent=Anaesthetic(self.agent),
            vasoconstrictor=VasoconstrictorKind(self.vasoconstrictor),
            mg_per_kg=self.mg_per_kg,
            absolute_mg=self.absolute_mg,
            per_digit_mg=self.per_digit_mg,
            weight_cap_kg=self.weight_cap_kg,
            period_h=self.period_h,
            source=self.source_text,
        )


def approved_limits(practice: Practice) -> tuple[Limit, ...]:
    """Those the lead approved, at most one of each agent and kind of vasoconstrictor. Nothing else is in force.

    One query.
    """
    approved = DoseLimit.objects.approved().filter(practice=practice).order_by("agent", "vasoconstrictor")
    return tuple(row.limit for row in approved)
