"""Acts on a patient's report: take it in through its link, say that it was answered. Each is one transaction."""

from collections.abc import Collection, Mapping
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from clinic.access.models import Member
from clinic.photographs import storage
from clinic.photographs.cleaning import Clean
from clinic.photographs.recording import add_photograph
from clinic.procedures.models import NailProcedure, Operation, TreatedSide
from clinic.redflags.rules import HIGH_TOLD_PAIN
from clinic.redflags.watching import watch_review
from clinic.reports.forms import ToeAnswers
from clinic.reports.links import is_open
from clinic.reports.models import PatientReport, ReportedToe, ReportLink
from clinic.reviews.models import OTHER_FIELDS, Review, SideFinding, ToeFinding
from clinic.reviews.recording import explicit_signs
from clinic.vocabulary import review as words
from clinic.vocabulary.photograph import PhotographUse
from clinic.vocabulary.procedure import Answer, ConsentGiver
from clinic.vocabulary.recall import TICKED_SIGNS, FluidSeen, LinkReason, ReportFlag, SeenAtSide

REASON = "Sent by the patient"
EXTENT = {
    SeenAtSide.NO: words.Extent.NONE, SeenAtSide.YES: words.Extent.SOME,
    SeenAtSide.NOT_SURE: words.Extent.CANNOT_TELL, None: words.Extent.NOT_APPLICABLE,
}  # fmt: skip
SYMPTOMS = {
    SeenAtSide.NO: words.Symptoms.NONE, SeenAtSide.YES: words.Symptoms.PAIN,
    SeenAtSide.NOT_SURE: words.Symptoms.CANNOT_TELL,
}  # fmt: skip


class LinkSpent(Exception):
    """The link was used, replaced or ended meanwhile; nothing was stored."""


@transaction.atomic
def take_report(
    *, link: ReportLink, toes: Mapping[NailProcedure, ToeAnswers], wants_call: bool, note: str, now: datetime,
    signs: Collection[str] = (), picture: Clean | None = None, pictured: NailProcedure | None = None,
    write: storage.Write | None = None,
) -> PatientReport:  # fmt: skip
    """Store the answers as a review that waits for a clinician, and spend the link. Raises LinkSpent.

    signs: codes of the warning signs that were ticked. It is the patient's own report: no sign is assessed by it, and
    it counts nowhere until somebody accepts it.
    """
    stored = ReportLink.objects.select_for_update().get(pk=link.pk)
    link.used_at, link.ended_at = stored.used_at, stored.ended_at
    if not is_open(link, now):
        raise LinkSpent
    by, day = link.made_by, timezone.localtime(now).date()
    decided = _decided_before(link.operation)
    review = Review(
        operation=link.operation, operated_on=link.operation.performed_on, seen_on=day,
        origin=words.Origin.PATIENT if link.about == LinkReason.PROBLEM else words.Origin.PLANNED,
        observer=words.Observer.PATIENT, means=words.Means.QUESTIONNAIRE, note=note, recorded_by=by, recorded_at=now,
        next_step=decided,
    )  # fmt: skip
    review.keep(by=by, reason=REASON)
    flags = flags_of(toes, wants_call=wants_call, signs=signs, note=note)
    report = PatientReport(
        review=review, link=link, sent_at=now, wants_call=wants_call, flags=flags, is_flagged=bool(flags)
    )
    report.keep(by=by, reason=REASON)
    findings = [_store_toe(review, report, nail, answers, by) for nail, answers in toes.items()]
    watch_review(review, by=by, now=now, rows=findings)
    if picture and pictured and write:
        _store_picture(review, picture, pictured, by=by, now=now, write=write)
    link.used_at = now
    link.save_version(by=by, reason=REASON)
    return report


def _decided_before(operation: Operation) -> str:
    """What a clinician decided last about further reviews; a report changes nothing in it."""
    latest = operation.reviews.counting().order_by("seen_on", "pk").last()
    return latest.next_step if latest else words.NextStep.AS_PLANNED.value


def _store_toe(
    review: Review, report: PatientReport, nail: NailProcedure, answers: ToeAnswers, by: Member
) -> ToeFinding:
    """Healing and signs stay unassessed: what the patient says of fluid stands beside them, as the patient's word."""
    edges = len(answers.sore)
    finding = ToeFinding(
        review=review, nail_procedure=nail, healing=words.Healing.NOT_ASSESSED,
        antibiotic=words.Antibiotic.NOT_ASSESSED, pain_state=words.PainState.SCORED, pain=answers.pain,
        untreated_side=words.UntreatedSide.NOT_ASSESSED if edges == 1 and "whole" not in nail.sides
        else words.UntreatedSide.NOT_APPLICABLE,
        **explicit_signs(words.Signs.NOT_ASSESSED, words.Healing.NOT_ASSESSED, {}),
        **dict.fromkeys(OTHER_FIELDS, Answer.NOT_ASSESSED),
    )  # fmt: skip
    finding.keep(by=by, reason=REASON)
    ReportedToe.objects.create(report=report, nail_procedure=nail, fluid=answers.fluid)
    for side, sore in answers.sore.items():
        _side(review, side, answers, sore).keep(by=by, reason=REASON)
    return finding


def _side(review: Review, side: TreatedSide, answers: ToeAnswers, sore: SeenAtSide) -> SideFinding:
    return SideFinding(
        review=review, treated_side=side, extent=EXTENT[answers.nail[side]], symptoms=SYMPTOMS[sore],
        retreatment=words.Retreatment.NOT_ASSESSED,
    )  # fmt: skip


def _store_picture(
    review: Review, picture: Clean, nail: NailProcedure, *, by: Member, now: datetime, write: storage.Write
) -> None:
    answers = {
        "taken_on": review.seen_on, "review": review, "consent_for": PhotographUse.CARE.value,
        "consent_given_by": ConsentGiver.PATIENT.value, "consent_given_on": review.seen_on, "note": REASON,
    }  # fmt: skip
    add_photograph(by=by, nail=nail, picture=picture, answers=answers, now=now, write=write, reason=REASON)


def flags_of(
    toes: Mapping[NailProcedure, ToeAnswers], *, wants_call: bool, signs: Collection[str] = (), note: str = ""
) -> list[str]:
    """Codes of ReportFlag that the answers raise, warnings first. Nobody can tell what a note says, so it is one."""
    found = {sign: sign.value in signs for sign in TICKED_SIGNS} | {
        ReportFlag.WROTE: bool(note.strip()),
        ReportFlag.YELLOW_FLUID: any(toe.fluid == FluidSeen.YELLOW for toe in toes.values()),
        ReportFlag.HIGH_PAIN: any(toe.pain >= HIGH_TOLD_PAIN for toe in toes.values()),
        ReportFlag.WANTS_CALL: wants_call,
        ReportFlag.SORE: any(SeenAtSide.YES in toe.sore.values() for toe in toes.values()),
        ReportFlag.NAIL_GROWS: any(SeenAtSide.YES in toe.nail.values() for toe in toes.values()),
    }
    return [flag.value for flag in ReportFlag if found[flag]]


def answer_report(*, by: Member, report: PatientReport, now: datetime) -> None:
    """Somebody has dealt with the flags. Raises Conflict if somebody did so at the same moment."""
    report.answered_by, report.answered_at = by, now
    report.save_version(by=by, reason="Dealt with")
