"""The acts of the exchange in one line each, for tests."""

from datetime import UTC, datetime

from audit.exchange.preparing import Prepared, prepare
from audit.measures.definitions import TWELVE_MONTHS, VERSION
from audit.peers import exporting, groups, intake
from audit.peers.models import Export, Membership, PeerGroup, PeerSet
from audit.signed import as_one, export_signed, signed_audits
from clinic.access.models import Member

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def a_group(by: Member, **answers) -> PeerGroup:
    said = {
        "name": "Feet of the north (fictional)",
        "definitions": VERSION,
        "window": f"{TWELVE_MONTHS.opens_day} to {TWELVE_MONTHS.closes_day}",
        "outcome": "any_regrowth",
        "unit": "side",
        "audit_year": "",
    }
    return groups.open_group(by=by, answers={**said, **answers}, now=NOW)


def joined(lead: Member, group: PeerGroup, *, host: Member | None = None) -> Membership:
    token = groups.invite(by=host or group.opened_by, group=group, now=NOW)
    return groups.join(by=lead, token=token, now=NOW)


def prepared(lead: Member, *, at: int = 0) -> Prepared:
    """Of the lead's signed audit at this place, latest first."""
    return prepare(as_one(signed_audits(lead.practice)[at]))


def exported(lead: Member, membership: Membership, *, ready: Prepared | None = None) -> Export:
    recipient = exporting.Recipient(membership.group.code, membership.code, "The group", "yearly comparison")
    return export_signed(by=lead, prepared=ready or prepared(lead), recipient=recipient, now=NOW)


def handed_in(lead: Member, membership: Membership, *, export: Export | None = None, replace: bool = False) -> PeerSet:
    export = export or exported(lead, membership)
    return intake.receive(
        data=bytes(export.file), group=membership.group, membership=membership, by=lead, replace=replace, now=NOW
    )
