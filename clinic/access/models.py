"""Practices, their settings, and the people who may sign in."""

import secrets
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar, TypeVar

from django.contrib.auth.models import AbstractUser
from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models import F, Q
from simple_history.models import HistoricalRecords
from simple_history.utils import bulk_create_with_history

from clinic.access.constraints import between
from clinic.access.rules import Role
from clinic.vocabulary.procedure import Agent, Anaesthetic, StageSystem
from clinic.vocabulary.terms import Term
from clinic.vocabulary.theatre import Dressing

KEY_LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"


def random_key() -> str:
    """Twelve random letters for addresses: about 59 bits, derived from nothing."""
    return "".join(secrets.choice(KEY_LETTERS) for _ in range(12))


class Conflict(Exception):
    """Somebody else changed the row since it was read."""


class Versioned(models.Model):
    """A row with an address key, a version for optimistic locking and a history of who, when and why."""

    key = models.CharField(max_length=12, unique=True, default=random_key, editable=False)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        abstract = True

    def save_version(self, *, by: "Member", reason: str = "") -> None:
        """Write the changed row as the next version; raises Conflict if the stored version moved on.

        The claim is one UPDATE … WHERE id AND version, so two writers cannot both win.
        """
        with transaction.atomic():
            claimed = type(self)._base_manager.filter(pk=self.pk, version=self.version).update(version=F("version") + 1)
            if not claimed:
                raise Conflict(f"{type(self).__name__} {self.key}")
            self.version += 1
            self.keep(by=by, reason=reason)

    def keep(self, *, by: "Member", reason: str = "") -> None:
        """Save with the author and the reason in the history."""
        self._history_user = by
        self._change_reason = reason or None
        self.save()


class Strikable(Versioned):
    """A wrong entry is struck out: still visible, marked, left out of every count."""

    struck_at = models.DateTimeField(null=True, blank=True, editable=False)
    struck_reason = models.CharField(max_length=200, blank=True, default="", editable=False)

    class Meta:
        abstract = True

    def strike(self, *, by: "Member", now: datetime, reason: str, version: int | None = None) -> None:
        """Raises Conflict if the entry moved on since it was read, or since `version` was shown."""
        self.version = self.version if version is None else version
        self.struck_at, self.struck_reason = now, reason
        self.save_version(by=by, reason=reason)


Row = TypeVar("Row", bound=models.Model)


def written_by(row: Row, by: "Member", reason: str = "") -> Row:
    """Names author and reason for the history row that saving or deleting writes."""
    row._history_user = by
    row._change_reason = reason or None
    return row


def keep_all(rows: Sequence[models.Model], *, by: "Member", reason: str = "") -> None:
    """Insert rows of one table, and a history row of each, in two statements however many they are."""
    if rows:
        bulk_create_with_history(rows, type(rows[0]), default_user=by, default_change_reason=reason or None)


def put(row: models.Model, values: Mapping[str, Any]) -> bool:
    """Set the values; says whether any was another one."""
    changed = {name: value for name, value in values.items() if getattr(row, name) != value}
    for name, value in changed.items():
        setattr(row, name, value)
    return bool(changed)


def bands_are_ascending(bands: list[int]) -> None:
    """Exposure band limits: one to eight whole seconds, ascending, each from 1 to 1800."""
    whole = all(isinstance(limit, int) and 1 <= limit <= 1800 for limit in bands)
    if not bands or len(bands) > 8 or not whole or sorted(set(bands)) != bands:
        raise ValidationError("Give one to eight different whole seconds from 1 to 1800 in ascending order.")


def default_bands() -> list[int]:
    return [30, 60, 120, 180]


# Answers a form always offers: a practice that uses something else must still be able to say so.
ALWAYS_OFFERED = frozenset({"other", "none", "not_recorded"})


def chosen_terms(terms: type[Term]) -> list[str]:
    """Codes that a practice may offer or not."""
    return [code for code in terms.codes() if code not in ALWAYS_OFFERED]


def every_agent() -> list[str]:
    return chosen_terms(Agent)


def every_anaesthetic() -> list[str]:
    return chosen_terms(Anaesthetic)


def every_dressing() -> list[str]:
    return chosen_terms(Dressing)


class Practice(Versioned):
    """One practice; every clinical row belongs to exactly one.

    staging_system: empty while none is chosen, so that forms offer all. *_offered: codes that forms offer beside
    ALWAYS_OFFERED; what is on record stays valid whatever they are. A note is asked for above exposure_note_seconds
    and, where set, below exposure_note_below_seconds; a tourniquet is noted after so many minutes, and alarmed of.
    """

    code = models.SlugField(max_length=20, unique=True)
    name = models.CharField(max_length=100)
    is_demo = models.BooleanField(default=False)
    audit_year_starts_month = models.PositiveSmallIntegerField(default=4)
    exposure_bands_seconds = models.JSONField(default=default_bands, validators=[bands_are_ascending])
    exposure_note_seconds = models.PositiveSmallIntegerField(default=180)
    exposure_note_below_seconds = models.PositiveSmallIntegerField(null=True, blank=True)
    tourniquet_note_minutes = models.PositiveSmallIntegerField(default=20)
    tourniquet_alarm_minutes = models.PositiveSmallIntegerField(default=30)
    recurrence_standard = models.DecimalField(max_digits=4, decimal_places=3, default="0.050")
    staging_system = models.CharField(max_length=15, choices=StageSystem.choices, blank=True, default="")
    agents_offered = models.JSONField(default=every_agent)
    anaesthetics_offered = models.JSONField(default=every_anaesthetic)
    dressings_offered = models.JSONField(default=every_dressing)
    checklist_wording = models.JSONField(default=dict, blank=True)
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(audit_year_starts_month__gte=1, audit_year_starts_month__lte=12), name="practice_year_month"
            ),
            models.CheckConstraint(
                condition=Q(recurrence_standard__gt=0, recurrence_standard__lt=1), name="practice_standard_share"
            ),
            models.CheckConstraint(
                condition=Q(staging_system__in=["", *chosen_terms(StageSystem)]), name="practice_staging_known"
            ),
            between("practice", "exposure_note_seconds", 1, 1800),
            models.CheckConstraint(
                condition=Q(exposure_note_below_seconds__isnull=True)
                | Q(exposure_note_below_seconds__gte=1, exposure_note_below_seconds__lt=F("exposure_note_seconds")),
                name="practice_exposure_range",
            ),
            models.CheckConstraint(
                condition=Q(
                    tourniquet_note_minutes__gte=1,
                    tourniquet_alarm_minutes__gt=F("tourniquet_note_minutes"),
                    tourniquet_alarm_minutes__lte=120,
                ),
                name="practice_tourniquet_minutes",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Theme(models.TextChoices):
    DEVICE = "", "As device"
    LIGHT = "light", "Light"
    DARK = "dark", "Dark"


class Member(AbstractUser):
    """A person who signs in for one practice, in one role. Two practices mean two sign-ins."""

    key = models.CharField(max_length=12, unique=True, default=random_key, editable=False)
    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, null=True, related_name="members")
    role = models.CharField(max_length=20, choices=Role.choices, default=Role.ASSISTANT)
    theme = models.CharField(max_length=5, choices=Theme.choices, blank=True, default="")
    slash_finds = models.BooleanField(default=True)
    history = HistoricalRecords(excluded_fields=["password", "last_login"])

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(role__in=Role.values), name="member_role_known"),
        ]

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class SignInThrottle(models.Model):
    """Failures of one account or address, under a keyed digest so that the table names nobody."""

    digest = models.CharField(max_length=64, unique=True)
    failures = models.PositiveIntegerField(default=0)
    wait_until_at = models.DateTimeField(null=True)
    last_failed_at = models.DateTimeField(null=True)


class UploadTry(models.Model):
    """A file that somebody sent within the last minute, taken or not; the count that slows them down."""

    member = models.ForeignKey(Member, on_delete=models.CASCADE)
    at = models.DateTimeField(db_index=True)


class Submission(models.Model):
    """A one-time key of a create form: the second post of the same form finds the first one's result."""

    token = models.CharField(max_length=40, unique=True)
    member = models.ForeignKey(Member, on_delete=models.PROTECT)
    made_at = models.DateTimeField(auto_now_add=True)
    leads_to = models.CharField(max_length=200)


class Draft(models.Model):
    """What somebody typed and has not saved. Not a record; counts nowhere."""

    member = models.ForeignKey(Member, on_delete=models.CASCADE)
    form = models.CharField(max_length=20)
    subject_key = models.CharField(max_length=12)
    answers = models.JSONField(default=dict)
    kept_at = models.DateTimeField(auto_now=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["member", "form", "subject_key"], name="one_draft_per_form"),
        ]
