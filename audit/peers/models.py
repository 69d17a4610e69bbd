"""Exports that left, peer groups, and the sets that came in.

Files lie in the database: a file and its row, its log and its replacement are written together or not at all.
"""

import secrets
from typing import ClassVar

from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from audit.measures.definitions import Outcome, Unit
from clinic.access.constraints import between, one_of
from clinic.access.models import Member, Practice, Versioned, random_key

CODE_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"


def group_code() -> str:
    return "G-" + "".join(secrets.choice(CODE_LETTERS) for _ in range(6))


def practice_code() -> str:
    """Of a practice within one group; derived from nothing."""
    return "P-" + "".join(secrets.choice(CODE_LETTERS) for _ in range(4))


class Export(Versioned):
    """A set made from a signed audit for one recipient, kept byte for byte. Only its withdrawal is ever added.

    signed_before: of the year before, where a small practice took two years together.
    """

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="exports")
    signed = models.ForeignKey("audit.SignedAudit", on_delete=models.PROTECT, related_name="exports")
    signed_before = models.ForeignKey(
        "audit.SignedAudit", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    audit_label = models.CharField(max_length=100)
    audit_checksum = models.CharField(max_length=64)
    performed_from = models.DateField()
    performed_to = models.DateField()
    group_code = models.CharField(max_length=10)
    practice_code = models.CharField(max_length=10)
    recipient = models.CharField(max_length=100)
    purpose = models.CharField(max_length=300)
    k = models.PositiveSmallIntegerField()
    harmless_declared = models.BooleanField()
    file = models.BinaryField(editable=False)
    sha256 = models.CharField(max_length=64)
    content = models.CharField(max_length=64)
    rows = models.PositiveIntegerField()
    protection = models.JSONField(default=dict)
    # By the practice's own keys; never leaves, serves the comparison with later exports.
    contents = models.JSONField(default=dict)
    tables = models.JSONField(default=list)
    replaces = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by")
    made_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    withdrawn_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_reason = models.CharField(max_length=200, blank=True, default="")
    history = HistoricalRecords(excluded_fields=["file", "contents"])

    class Meta:
        ordering = ("made_at", "pk")
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["practice", "audit_checksum", "group_code"], condition=Q(withdrawn_at__isnull=True),
                name="export_once_per_audit_and_group",
            ),
            models.CheckConstraint(condition=Q(k__gte=5), name="export_k_at_least_five"),
            models.CheckConstraint(condition=~Q(sha256="") & ~Q(content=""), name="export_has_checksums"),
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=True, withdrawn_by__isnull=True)
                | (Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False) & ~Q(withdrawn_reason="")),
                name="export_withdrawn_with_reason",
            ),
            models.CheckConstraint(condition=Q(performed_to__gte=models.F("performed_from")), name="export_period"),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"Export {self.key}"


class Taking(models.Model):
    """Somebody took something out: who, when, what, why. Written in the same transaction, so nothing leaves without."""

    class What(models.TextChoices):
        EXPORT = "export", "Peer export"
        TABLES = "tables", "Tables that may be published"
        ORIGINAL = "original", "Received set"
        REPORT = "report", "Group report"
        POOLED = "pooled", "Pooled numbers or picture"

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="takings")
    member = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()
    what = models.CharField(max_length=10, choices=What.choices)
    export = models.ForeignKey(Export, on_delete=models.PROTECT, null=True, blank=True, related_name="takings")
    about = models.CharField(max_length=100, blank=True, default="")
    sha256 = models.CharField(max_length=64, blank=True, default="")
    by_command = models.BooleanField(default=False)

    class Meta:
        ordering = ("at", "pk")
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(what__in=["export", "tables", "original", "report", "pooled"]), name="taking_what_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()} {self.at:%Y-%m-%d}"


class PeerGroup(Versioned):
    """Practices that compare themselves, with the definitions they agreed on."""

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="peer_groups")
    code = models.CharField(max_length=10, unique=True, default=group_code, editable=False)
    name = models.CharField(max_length=100)
    definitions = models.CharField(max_length=10)
    window = models.CharField(max_length=20)
    outcome = models.CharField(max_length=30, choices=Outcome.choices)
    unit = models.CharField(max_length=10, choices=Unit.choices)
    audit_year = models.CharField(max_length=15, blank=True, default="")
    opened_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ("opened_at", "pk")
        constraints: ClassVar = [one_of("peergroup", "outcome", Outcome), one_of("peergroup", "unit", Unit)]

    def __str__(self) -> str:
        return self.name


class Membership(Versioned):
    """One place in a group: first an invitation under a token of which only the digest is kept, then a practice.

    The code is drawn when the practice joins, so that it does not stand in the invitation. Who hands out one
    invitation and sees one code appear knows it all the same.
    """

    group = models.ForeignKey(PeerGroup, on_delete=models.PROTECT, related_name="memberships")
    code = models.CharField(max_length=10, default=practice_code, editable=False)
    token_digest = models.CharField(max_length=64, unique=True)
    invited_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, null=True, blank=True, related_name="memberships")
    joined_at = models.DateTimeField(null=True, blank=True)
    left_at = models.DateTimeField(null=True, blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ("code",)
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["group", "code"], name="membership_code_once"),
            models.UniqueConstraint(fields=["group", "practice"], name="membership_practice_once"),
            models.CheckConstraint(
                condition=Q(practice__isnull=True, joined_at__isnull=True)
                | Q(practice__isnull=False, joined_at__isnull=False),
                name="membership_joined_by_a_practice",
            ),
            models.CheckConstraint(
                condition=Q(left_at__isnull=True) | Q(joined_at__isnull=False), name="membership_left_after_joining"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class SetState(models.TextChoices):
    POOLED = "pooled", "In the pool"
    APART = "apart", "Kept, not pooled"
    REPLACED = "replaced", "Replaced by a later set"
    WITHDRAWN = "withdrawn", "Withdrawn"


class PeerSet(Versioned):
    """A set that was taken, with the file as it came."""

    membership = models.ForeignKey(Membership, on_delete=models.PROTECT, related_name="sets")
    manifest = models.JSONField()
    audit_year = models.CharField(max_length=15)
    rows = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    content = models.CharField(max_length=64)
    # Of the rows without their random codes; empty in sets taken before it was kept.
    bare_content = models.CharField(max_length=64, blank=True, default="")
    file = models.BinaryField(editable=False)
    state = models.CharField(max_length=10, choices=SetState.choices)
    state_reason = models.CharField(max_length=200, blank=True, default="")
    # Handed in by a lead of the practice itself; otherwise whoever brought it vouches for it.
    verified = models.BooleanField()
    received_at = models.DateTimeField()
    received_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    replaces = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by")
    history = HistoricalRecords(excluded_fields=["file"])

    class Meta:
        ordering = ("received_at", "pk")
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(state__in=SetState.values), name="peerset_state_known"),
            models.UniqueConstraint(
                fields=["membership", "audit_year"], condition=Q(state__in=["pooled", "apart"]),
                name="peerset_one_standing_per_year",
            ),
            models.UniqueConstraint(fields=["membership", "content"], condition=Q(state__in=["pooled", "apart"]),
                                    name="peerset_content_once"),
            models.CheckConstraint(
                condition=~Q(state="withdrawn") | ~Q(state_reason=""), name="peerset_withdrawn_with_reason"
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"Set {self.key}"


class Refusal(models.Model):
    """A file that was not taken: why, in the sentences its sender was told. The file itself is not kept."""

    key = models.CharField(max_length=12, unique=True, default=random_key, editable=False)
    group = models.ForeignKey(PeerGroup, on_delete=models.PROTECT, related_name="refusals")
    membership = models.ForeignKey(Membership, on_delete=models.PROTECT, null=True, blank=True, related_name="refusals")
    at = models.DateTimeField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    sha256 = models.CharField(max_length=64)
    sentences = models.JSONField()
    total = models.PositiveIntegerField()

    class Meta:
        ordering = ("at", "pk")
        constraints: ClassVar = [between("refusal", "total", 1, 10**9)]

    def __str__(self) -> str:
        return f"Refused {self.at:%Y-%m-%d}"


class TopicState(models.TextChoices):
    OPEN = "open", "Waits for the practice"
    ANSWERED = "answered", "Answered"
    SETTLED = "settled", "Settled"


class Topic(Versioned):
    """A question from the reviewer to one practice, under its code."""

    membership = models.ForeignKey(Membership, on_delete=models.PROTECT, related_name="topics")
    title = models.CharField(max_length=100)
    state = models.CharField(max_length=10, choices=TopicState.choices, default=TopicState.OPEN)
    opened_at = models.DateTimeField()
    history = HistoricalRecords()

    class Meta:
        ordering = ("opened_at", "pk")
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(state__in=TopicState.values), name="topic_state_known")
        ]

    def __str__(self) -> str:
        return self.title


class Remark(models.Model):
    """One entry of a topic. Never changed: a correction is another entry."""

    topic = models.ForeignKey(Topic, on_delete=models.PROTECT, related_name="remarks")
    from_practice = models.BooleanField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    text = models.TextField(max_length=1000)

    class Meta:
        ordering = ("at", "pk")
        constraints: ClassVar = [models.CheckConstraint(condition=~Q(text=""), name="remark_says_something")]

    def __str__(self) -> str:
        return f"Remark {self.pk}"
