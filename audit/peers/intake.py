"""Acts on sets: receive, withdraw. A set is taken whole or not at all; a refusal keeps the reasons, not the file."""

import hashlib
import re
from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime

from django.db import transaction

from audit.exchange.manifest import bare_digest
from audit.exchange.package import MANIFEST
from audit.exchange.problems import Problem, Refused
from audit.exchange.reading import ReceivedSet, read_set
from audit.exchange.words import overlap, period_words
from audit.peers.models import Membership, PeerGroup, PeerSet, Refusal, SetState
from clinic.access.models import Member

QUOTED = re.compile("\u201c[^\u201d]*\u201d")
ONLY_ITSELF = "the practice itself handed in the set that is here for this year; only it can replace that"
IS_HERE = "A file from this practice for this year is here already. Replace it?"


class AsksToReplace(Exception):
    """The set would replace one that stands; the sender must say so."""


def receive(
    *, data: bytes, group: PeerGroup, membership: Membership | None, by: Member | None, replace: bool, now: datetime
) -> PeerSet:
    """Read a file and take it into the group.

    membership: whose set it must be; None takes it for the practice whose code it carries, unverified.
    Raises Refused with every reason, AsksToReplace where an earlier set stands and `replace` is not said.
    """
    found = read_set(data)
    bare = bare_digest(found.rows)
    with transaction.atomic():
        # What the sender's page knew may have changed since: only the locked rows say whether the group is open.
        group = PeerGroup.objects.select_for_update().get(pk=group.pk)
        owner = _owner(found, group, membership)
        standing = _standing(owner, found)
        _refuse_known(found, group, owner)
        _refuse_redrawn(bare, group, owner)
        if standing and standing.verified and membership is None:
            raise _refused("practice", ONLY_ITSELF)
        if standing and not replace:
            raise AsksToReplace(IS_HERE)
        state, reason = _state(found, group)
        if state is SetState.POOLED:
            _refuse_overlap(owner, found)
        if standing:
            standing.state, standing.state_reason = SetState.REPLACED, ""
            _keep(standing, by)
        row = PeerSet(
            membership=owner,
            manifest=asdict(found.manifest),
            audit_year=found.manifest.audit_year,
            rows=len(found.rows),
            sha256=found.sha256,
            content=found.manifest.content,
            bare_content=bare,
            file=data,
            state=state,
            state_reason=reason,
            verified=membership is not None,
            received_at=now,
            received_by=by,
            replaces=standing,
        )
        _keep_new(row, by)
    return row


def note_refusal(
    *, refused: Refused, data: bytes, group: PeerGroup, membership: Membership | None, by: Member | None, now: datetime
) -> Refusal:
    """Keep why a file was not taken, without any value of it: a file sent by mistake may hold names."""
    return Refusal.objects.create(
        group=group, membership=membership, at=now, by=by, sha256=hashlib.sha256(data).hexdigest(),
        sentences=[QUOTED.sub("a value", problem.sentence) for problem in refused.problems],
        total=max(1, refused.total),
    )  # fmt: skip


@transaction.atomic
def withdraw_set(*, by: Member, row: PeerSet, version: int, reason: str) -> None:
    """Take a set out of the pool; the file, its row and the reason stay. Raises Conflict if it moved on."""
    row.version = version
    row.state, row.state_reason = SetState.WITHDRAWN, reason
    row.save_version(by=by, reason=reason)


def _owner(found: ReceivedSet, group: PeerGroup, membership: Membership | None) -> Membership:
    manifest = found.manifest
    if group.closed_at:
        raise _refused("group", "the group is closed")
    if manifest.group != group.code:
        raise _refused("group", f"the set was made for group {manifest.group}, this is {group.code}")
    if membership is not None:
        if manifest.practice != membership.code:
            raise _refused("practice", f"carries the code {manifest.practice}, which is not the code of this practice")
        own = group.memberships.select_for_update().filter(pk=membership.pk, left_at__isnull=True).first()
        if own is None:
            raise _refused("practice", "the practice has left the group")
        return own
    named = (
        group.memberships.select_for_update()
        .filter(code=manifest.practice, practice__isnull=False, left_at__isnull=True)
        .first()
    )
    if named is None:
        raise _refused("practice", f"no practice with the code {manifest.practice} is in this group")
    return named


def _standing(owner: Membership, found: ReceivedSet) -> PeerSet | None:
    states = (SetState.POOLED, SetState.APART)
    return owner.sets.filter(audit_year=found.manifest.audit_year, state__in=states).defer("file").first()


def _refuse_overlap(owner: Membership, found: ReceivedSet) -> None:
    """One operation in two sets of a practice would count twice."""
    year = found.manifest.audit_year
    pooled = owner.sets.filter(state=SetState.POOLED).exclude(audit_year=year).values_list("audit_year", flat=True)
    if both := next((each for each in pooled if overlap(each, year)), None):
        raise _refused(
            "audit_year",
            f"the months of {period_words(year)} overlap with the set of {period_words(both)} that this practice has "
            "in the pool, so operations would count twice; withdraw that set first",
        )


def _refuse_known(found: ReceivedSet, group: PeerGroup, owner: Membership) -> None:
    """The same rows again, whoever brings them and however they are packed."""
    same = PeerSet.objects.filter(membership__group=group, content=found.manifest.content).defer("file")
    for row in same.select_related("membership"):
        if row.membership_id != owner.pk:
            raise _refused("content", "these rows were handed in by another practice of this group")
        raise _refused("content", f"these rows are here already: {row.get_state_display().lower()}")


def _refuse_redrawn(bare: str, group: PeerGroup, owner: Membership) -> None:
    """The same rows under codes drawn anew. What its practice has withdrawn may come back like this."""
    same = PeerSet.objects.filter(membership__group=group, bare_content=bare)
    if same.exclude(membership=owner).exists():
        raise _refused("content", "these rows, under other codes, were handed in by another practice of this group")
    if same.filter(state__in=(SetState.POOLED, SetState.APART)).exists():
        raise _refused("content", "these rows are here already, under other codes; nothing in them has changed")


def _state(found: ReceivedSet, group: PeerGroup) -> tuple[SetState, str]:
    """In the pool, or kept beside it because it counts something else."""
    manifest = found.manifest
    if manifest.definitions != group.definitions:
        return SetState.APART, (
            f"This file uses definition {manifest.definitions}; the pool uses {group.definitions}. "
            "It can be kept but not pooled."
        )
    if manifest.window != group.window:
        return SetState.APART, f"This file reads outcomes on day {manifest.window}; the pool on day {group.window}."
    if group.audit_year and manifest.audit_year != group.audit_year:
        own, asked = period_words(manifest.audit_year), period_words(group.audit_year)
        return SetState.APART, f"This file is of {own}; the pool compares {asked}."
    return SetState.POOLED, ""


def _keep(row: PeerSet, by: Member | None) -> None:
    row.save_version(by=by)  # type: ignore[arg-type]


def _keep_new(row: PeerSet, by: Member | None) -> None:
    row.keep(by=by)  # type: ignore[arg-type]


def _refused(column: str, reason: str) -> Refused:
    return Refused([Problem(MANIFEST, reason, column=column)])


def sets_in_pool(group: PeerGroup) -> Sequence[PeerSet]:
    """The sets that are compared, without their files, in the order of the codes."""
    return list(
        PeerSet.objects.filter(
            membership__group=group, membership__left_at__isnull=True, state=SetState.POOLED
        ).defer("file").order_by("membership__code", "audit_year")
    )  # fmt: skip
