"""Templates of a practice: the logistics of a technique, filled in for whoever starts an operation from one."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from simple_history.models import HistoricalRecords

from clinic.access.constraints import between, one_of
from clinic.access.models import Member, Practice, Versioned
from clinic.vocabulary import procedure as words
from clinic.vocabulary import theatre as room


class OperationTemplateQuerySet(models.QuerySet["OperationTemplate"]):
    def visible_to(self, member: Member) -> "OperationTemplateQuerySet":
        return self.filter(practice_id=member.practice_id)


class OperationTemplate(Versioned):
    """What a practice usually takes for one technique; an empty column is left open on the form.

    It has no column for findings, times, seconds, volumes, batches, consent, toe, side or checks.
    """

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="operation_templates")
    name = models.CharField(max_length=60)
    offered = models.BooleanField(default=True)
    technique = models.CharField(max_length=20, choices=words.Technique.choices)
    agent = models.CharField(max_length=20, choices=words.Agent.choices, blank=True, default="")
    strength_percent = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    strength_basis = models.CharField(max_length=15, choices=words.StrengthBasis.choices, blank=True, default="")
    lavage = models.CharField(max_length=15, choices=words.Lavage.choices, blank=True, default="")
    tourniquet = models.CharField(max_length=15, choices=words.Tourniquet.choices, blank=True, default="")
    skin_protected = models.CharField(max_length=15, choices=words.Answer.choices, blank=True, default="")
    haemostasis = models.CharField(max_length=15, choices=room.Haemostasis.choices, blank=True, default="")
    dressing = models.CharField(max_length=15, choices=room.Dressing.choices, blank=True, default="")
    outer_dressing = models.CharField(max_length=15, choices=room.OuterDressing.choices, blank=True, default="")
    aftercare = models.CharField(max_length=15, choices=room.Aftercare.choices, blank=True, default="")
    aftercare_sheet = models.CharField(max_length=60, blank=True, default="")
    history = HistoricalRecords()

    objects = OperationTemplateQuerySet.as_manager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("practice", Lower("name"), name="template_name_once"),
            models.CheckConstraint(condition=~Q(name=""), name="template_has_a_name"),
            one_of("template", "technique", words.Technique),
            one_of("template", "agent", words.Agent, or_empty=True),
            between("template", "strength_percent", 0.1, 100),
            one_of("template", "strength_basis", words.StrengthBasis, or_empty=True),
            one_of("template", "lavage", words.Lavage, or_empty=True),
            one_of("template", "tourniquet", words.Tourniquet, or_empty=True),
            one_of("template", "skin_protected", words.Answer, or_empty=True),
            one_of("template", "haemostasis", room.Haemostasis, or_empty=True),
            one_of("template", "dressing", room.Dressing, or_empty=True),
            one_of("template", "outer_dressing", room.OuterDressing, or_empty=True),
            one_of("template", "aftercare", room.Aftercare, or_empty=True),
            models.CheckConstraint(
                condition=Q(technique__in=[term.value for term in words.Technique if term.takes_agent])
                | Q(agent="", strength_percent__isnull=True, strength_basis="", lavage="", skin_protected=""),
                name="template_agent_fits_technique",
            ),
            models.CheckConstraint(
                condition=Q(strength_percent__isnull=True) | ~Q(agent="") & ~Q(strength_basis=""),
                name="template_strength_of_an_agent",
            ),
        ]

    def __str__(self) -> str:
        return self.name
