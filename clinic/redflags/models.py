"""Red flags that were raised: what was seen, who saw the flag and when, and what they did."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q
from simple_history.models import HistoricalRecords

from clinic.access.constraints import one_of
from clinic.access.models import Member, Versioned
from clinic.vocabulary.redflag import Alert, AlertAction, AlertLevel, AlertOrigin


class RedFlagQuerySet(models.QuerySet["RedFlag"]):
    def visible_to(self, member: Member) -> "RedFlagQuerySet":
        return self.filter(operation__practice_id=member.practice_id)

    def still_open(self) -> "RedFlagQuerySet":
        """Neither answered, nor lapsed because the entry was corrected, on an operation that stands."""
        return self.filter(answered_at__isnull=True, lapsed_at__isnull=True, operation__struck_at__isnull=True)

    def red(self) -> "RedFlagQuerySet":
        return self.filter(level=AlertLevel.RED)


class RedFlag(Versioned):
    """One entry that may mean a problem. fact: what is shown. source_key: of the entry, if not the operation.

    lapsed_at: the entry was corrected, so that the fact is not so any more; the row stays.
    """

    operation = models.ForeignKey("clinic.Operation", on_delete=models.PROTECT, related_name="red_flags")
    alert = models.CharField(max_length=20, choices=Alert.choices)
    level = models.CharField(max_length=10, choices=AlertLevel.choices)
    fact = models.CharField(max_length=300)
    toe_key = models.CharField(max_length=12, blank=True, default="")
    origin = models.CharField(max_length=15, choices=AlertOrigin.choices)
    source_key = models.CharField(max_length=12, blank=True, default="")
    raised_at = models.DateTimeField()
    raised_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    action = models.CharField(max_length=15, choices=AlertAction.choices, blank=True, default="")
    action_text = models.CharField(max_length=500, blank=True, default="")
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    lapsed_at = models.DateTimeField(null=True, blank=True)
    history = HistoricalRecords()

    objects = RedFlagQuerySet.as_manager()

    class Meta:
        ordering = ("raised_at", "pk")
        indexes: ClassVar = [models.Index(fields=["operation", "answered_at"])]
        constraints: ClassVar = [
            one_of("redflag", "alert", Alert),
            one_of("redflag", "level", AlertLevel),
            one_of("redflag", "origin", AlertOrigin),
            models.CheckConstraint(condition=~Q(fact=""), name="redflag_says_what"),
            models.CheckConstraint(
                condition=Q(answered_at__isnull=True, answered_by__isnull=True, action="", action_text="")
                | Q(
                    answered_at__isnull=False, answered_by__isnull=False, answered_at__gte=F("raised_at"),
                    action__in=AlertAction.codes(),
                )
                & ~Q(action_text=""),
                name="redflag_answered_by_somebody_in_words",
            ),
            models.UniqueConstraint(
                fields=["operation", "alert", "fact", "toe_key", "origin", "source_key"],
                condition=Q(lapsed_at__isnull=True),
                name="redflag_once_per_entry",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"{self.get_alert_display()} {self.key}"

    @property
    def sentence(self) -> str:
        problem = Alert(self.alert).meaning
        return f"{self.fact}. Possible problem: {problem}. See local protocol; a licensed clinician decides."

    @property
    def is_open(self) -> bool:
        return self.answered_at is None and self.lapsed_at is None


class RedFlagSeen(models.Model):
    """Who was shown a flag, and when for the first time."""

    flag = models.ForeignKey(RedFlag, on_delete=models.PROTECT, related_name="seen")
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("at", "pk")
        constraints: ClassVar = [models.UniqueConstraint(fields=["flag", "by"], name="redflag_seen_once_by")]

    def __str__(self) -> str:
        return f"{self.flag_id} seen"
