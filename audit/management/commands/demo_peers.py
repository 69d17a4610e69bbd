"""The peer group of the demonstration: four invented practices have handed in. Called by demo."""

import random
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from audit.exchange.preparing import SignedFrames, make, prepare
from audit.exchange.simulated import Plan, practice
from audit.measures.definitions import TWELVE_MONTHS, VERSION
from audit.peers.groups import digest
from audit.peers.intake import receive
from audit.peers.models import Membership, PeerGroup
from audit.peers.threads import add_remark, open_topic
from clinic.access.models import Member, Practice
from clinic.demo.people import HARBOUR, HARBOUR_LEAD, LEAD, PEERS, TARNWICK

GROUP = "G-DEM234"
CODES = ("P-H7KD", "P-3WQX", "P-R9ZA", "P-6MTB")
OWN_CODES = {TARNWICK.code: "P-K4VE", HARBOUR.code: "P-8CYN"}
PLANS = ((74, 0.05), (118, 0.08), (92, 0.04), (61, 0.07))


class Command(BaseCommand):
    help = "Make the demonstration's peer group. Called by demo; does nothing where the group is there already."

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.DEBUG:
            raise CommandError("Invented practices are made only in development, with DEBUG on.")
        if PeerGroup.objects.filter(code=GROUP).exists():
            return
        reviewer = Member.objects.get(username="ravi")
        now = timezone.now()
        with transaction.atomic():
            group = PeerGroup(
                practice=reviewer.practice, code=GROUP, name="Northern nail surgery peers (fictional)",
                definitions=VERSION, window=f"{TWELVE_MONTHS.opens_day} to {TWELVE_MONTHS.closes_day}",
                outcome="any_regrowth", unit="side", opened_by=reviewer, opened_at=now,
            )  # fmt: skip
            group.keep(by=reviewer)
            memberships = [self.peer(group, at, by=reviewer, now=now) for at in range(len(PEERS))]
            for lead, code in ((LEAD, OWN_CODES[TARNWICK.code]), (HARBOUR_LEAD, OWN_CODES[HARBOUR.code])):
                member = Member.objects.get(username=lead)
                joined(group, code, member.practice, by=member, now=now)
            topic = open_topic(
                by=reviewer, membership=memberships[1], title="Loss to follow-up", now=now - timedelta(days=9),
                text="A quarter of the outcomes are not known. Was that the move to another building?",
            )  # fmt: skip
            answer = "Yes. Letters went to old addresses for two months; it is corrected now."
            add_remark(
                by=reviewer, topic=topic, version=topic.version, text=answer, from_practice=True, settled=False, now=now
            )  # fmt: skip

    def peer(self, group: PeerGroup, at: int, *, by: Member, now: Any) -> Membership:
        """One invented practice without records, and the set it has handed in."""
        house, (patients, regrowth) = PEERS[at], PLANS[at]
        row = Practice(code=house.code, name=house.name, is_demo=True)
        row.keep(by=by)
        membership = joined(group, CODES[at], row, by=by, now=now)
        lost = 0.27 if at == 1 else 0.12
        frames = practice(Plan(house.code, seed=700 + at, patients=patients, regrowth=regrowth, lost=lost))
        prepared = prepare(SignedFrames((), house.name, house.code.ljust(64, "0"), VERSION, frames))
        # Invented rows: the same demonstration each time.
        chance = random.Random(700 + at)  # noqa: S311
        made = make(prepared, chance, group=group.code, practice=membership.code)
        receive(data=made.file, group=group, membership=membership, by=None, replace=False, now=now)
        return membership


def joined(group: PeerGroup, code: str, practice: Practice, *, by: Member, now: Any) -> Membership:
    row = Membership(
        group=group, code=code, token_digest=digest(f"used {code}"), invited_at=now,
        expires_at=now + timedelta(days=28), practice=practice, joined_at=now,
    )  # fmt: skip
    row.keep(by=by)
    return row
