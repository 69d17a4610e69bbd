"""Rows of the exchange without going through its acts, for tests that only need them to be there."""

from datetime import date, timedelta

from audit.models import SignedAudit, Snapshot
from audit.peers.groups import digest
from audit.peers.models import Export, Membership, PeerGroup, PeerSet, Remark, SetState, Topic
from clinic.access.models import Member, Practice
from tests.audit.exchange import sets
from tests.factories import NOON, NUMBERS, create_audit_year, create_member, create_practice


def someone(practice: Practice) -> Member:
    return practice.members.first() or create_member(practice)


def create_signature(practice: Practice) -> SignedAudit:
    """A signature without anything behind it, each of another year."""
    by = someone(practice)
    year = create_audit_year(practice, starting_year=2000 + practice.audit_years.count(), by=by)
    kept = Snapshot.objects.create(
        audit_year=year, checksum="c" * 64, packed=b"", bytes_unpacked=0, definitions_version="1", code_version="test",
        frozen_at=NOON,
    )  # fmt: skip
    return SignedAudit.objects.create(
        audit_year=year, number=1, snapshot=kept, signed_by=by, signed_at=NOON, preliminary=False, html="<p>Report</p>"
    )


def create_export(practice: Practice) -> Export:
    return Export.objects.create(
        practice=practice, signed=create_signature(practice), audit_label="Apr 2023 to Mar 2024",
        audit_checksum=str(next(NUMBERS)),
        performed_from=date(2023, 4, 1), performed_to=date(2024, 3, 31), group_code="G-TESTXY",
        practice_code="P-AB34", recipient="The group", purpose="Comparison", k=5, harmless_declared=True,
        file=b"bytes", sha256="a" * 64, content="b" * 64, rows=10, made_by=someone(practice), made_at=NOON,
        protection={"least_alike": 5, "rows_left_out": 0},
    )  # fmt: skip


def create_group(practice: Practice, **fields) -> PeerGroup:
    """Opened by a lead where the practice has one."""
    by = practice.members.filter(role="lead").first() or someone(practice)
    return PeerGroup.objects.create(
        practice=practice, name="Feet of the north (fictional)", definitions="1", window="335 to 425",
        outcome="any_regrowth", unit="side", opened_by=by, opened_at=NOON, **fields,
    )  # fmt: skip


def create_membership(group: PeerGroup, practice: Practice) -> Membership:
    return Membership.objects.create(
        group=group, token_digest=digest(str(next(NUMBERS))), invited_at=NOON, expires_at=NOON + timedelta(days=28),
        practice=practice, joined_at=NOON,
    )  # fmt: skip


def create_set(membership: Membership, **fields) -> PeerSet:
    values = {
        "manifest": {"definitions": "1", "least_alike": 5}, "audit_year": "2023-04/2024-03", "rows": 10,
        "sha256": "a" * 64, "content": str(next(NUMBERS)), "file": sets.a_set(), "state": SetState.POOLED,
        "verified": True, "received_at": NOON,
    }  # fmt: skip
    return PeerSet.objects.create(membership=membership, **{**values, **fields})


def create_topic(membership: Membership) -> Topic:
    topic = Topic.objects.create(membership=membership, title="Loss to follow-up", opened_at=NOON)
    Remark.objects.create(topic=topic, from_practice=False, by=someone(membership.group.practice), at=NOON, text="Why?")
    return topic


def brought_set(practice: Practice) -> PeerSet:
    """A set of another practice in a group that this one runs and takes no part in."""
    return create_set(create_membership(create_group(practice), create_practice()))


def own_topic(practice: Practice) -> Topic:
    return create_topic(create_membership(create_group(practice), practice))
