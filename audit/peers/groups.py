"""Acts on peer groups: open, invite, join, close; and who sees which."""

import hashlib
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet

from audit.peers.models import Membership, PeerGroup, PeerSet, practice_code
from clinic.access.models import Conflict, Member
from clinic.access.rules import Role

INVITATION_LASTS = timedelta(days=28)
MOST_INVITATIONS = 50
LEFT = "This practice was in the group and has left it; a practice that has left cannot join the same group again."


class NotJoined(ValueError):
    """Why an invitation does not lead into a group, as a sentence."""


@dataclass(frozen=True)
class Place:
    """What a member is in a group. membership: of the member's own practice, for its lead alone.

    takes_part: whether the member's practice is, or was, one of the practices that are compared.
    """

    group: PeerGroup
    runs: bool
    membership: Membership | None
    takes_part: bool = False

    @property
    def own_code(self) -> str:
        return self.membership.code if self.membership else ""

    def may_take(self, row: PeerSet) -> bool:
        """Whether a set's rows may be taken out: by its practice, or by who runs the group and is not compared in it.

        Where the practice takes part, its reviewer may not even take its own: that would tell which code it is.
        """
        own = self.membership is not None and row.membership_id == self.membership.pk
        return own or (self.runs and not self.takes_part)


def groups_of(member: Member) -> QuerySet[PeerGroup]:
    """Groups that the member runs, and for a lead those the practice has joined.

    Whoever opened a group runs it, and so do the reviewers of that practice; its leads do not by being leads.
    """
    own = Q(practice_id=member.practice_id, opened_by_id=member.pk)
    if member.role == Role.REVIEWER:
        own |= Q(practice_id=member.practice_id)
    if member.role == Role.LEAD:
        own |= Q(memberships__practice_id=member.practice_id, memberships__left_at__isnull=True)
    return PeerGroup.objects.filter(own).distinct()


def places_of(member: Member) -> list[Place]:
    """Every group of the member with what the member is in it, in two statements."""
    return _places(member, list(groups_of(member)))


def place_of(member: Member, group: PeerGroup) -> Place:
    """group: one of those of the member."""
    return _places(member, [group])[0]


def _places(member: Member, groups: list[PeerGroup]) -> list[Place]:
    rows = Membership.objects.filter(practice_id=member.practice_id, group__in=groups)
    joined = {row.group_id: row for row in rows}
    is_lead = member.role == Role.LEAD
    return [
        Place(each, _runs(member, each), row if row and is_lead and not row.left_at else None, row is not None)
        for each, row in ((group, joined.get(group.pk)) for group in groups)
    ]


def _runs(member: Member, group: PeerGroup) -> bool:
    at_home = group.practice_id == member.practice_id
    return at_home and (member.role == Role.REVIEWER or group.opened_by_id == member.pk)


@transaction.atomic
def open_group(*, by: Member, answers: Mapping[str, Any], now: datetime) -> PeerGroup:
    """answers: name, definitions, window, outcome, unit, audit_year."""
    group = PeerGroup(practice=by.practice, opened_by=by, opened_at=now, **answers)
    group.keep(by=by)
    return group


def invite(*, by: Member, group: PeerGroup, now: datetime) -> str:
    """A new place in the group; gives the token, which is kept nowhere."""
    token = secrets.token_urlsafe(24)
    with transaction.atomic():
        # The page's group may be stale: only the locked row says whether it is open.
        group = PeerGroup.objects.select_for_update().get(pk=group.pk)
        waiting = group.memberships.filter(practice__isnull=True, expires_at__gt=now).count()
        if group.closed_at or waiting >= MOST_INVITATIONS:
            raise Conflict(f"PeerGroup {group.key}")
        row = Membership(group=group, token_digest=digest(token), invited_at=now, expires_at=now + INVITATION_LASTS)
        row.keep(by=by)
    return token


def join(*, by: Member, token: str, now: datetime) -> Membership:
    """Take the place that a token stands for. Raises NotJoined; a guess and a spent token sound alike."""
    unknown = NotJoined("This invitation is not known, or was used or has run out. Ask for another one.")
    with transaction.atomic():
        row = Membership.objects.select_for_update().filter(token_digest=digest(token)).first()
        if row is None or row.practice_id or row.expires_at <= now or row.group.closed_at:
            raise unknown
        if earlier := row.group.memberships.filter(practice_id=by.practice_id).first():
            raise NotJoined(LEFT if earlier.left_at else "This practice is in the group already.")
        row.practice, row.joined_at = by.practice, now
        # Drawn only now: whoever handed out the token has never seen it.
        row.code = _free_code(row.group)
        try:
            row.save_version(by=by)
        except IntegrityError as taken:
            raise unknown from taken
    return row


@transaction.atomic
def close_group(*, by: Member, group: PeerGroup, version: int, now: datetime) -> None:
    """No more sets and practices; what is there stays to be read. Raises Conflict if the group moved on."""
    group.version = version
    group.closed_at = now
    group.save_version(by=by)


@transaction.atomic
def leave(*, by: Member, membership: Membership, version: int, now: datetime) -> None:
    """The practice takes part no more; its sets leave the pool by withdrawal, which is another act."""
    membership.version = version
    membership.left_at = now
    membership.save_version(by=by)


def digest(token: str) -> str:
    """What is kept of a token. It is long and random, so a plain digest cannot be turned round."""
    return hashlib.sha256(token.encode()).hexdigest()


def _free_code(group: PeerGroup) -> str:
    taken = set(group.memberships.values_list("code", flat=True))
    while (code := practice_code()) in taken:
        pass
    return code
