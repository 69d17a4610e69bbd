"""Acts before an operation: record and change an assessment, decide on a flag, record, confirm and end a consent.

Each is one transaction with its history. The caller has validated the values.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Model

from clinic.access.models import Member, keep_all, put, written_by
from clinic.patients.models import Patient
from clinic.patients.own import lock_person
from clinic.preparation.flags import Flag
from clinic.preparation.models import (
    AssessedToe,
    Assessment,
    AssessmentItem,
    Consent,
    ConsentElement,
    FlagDecision,
    FootFinding,
)
from clinic.vocabulary.preparation import ConsentPoint, DecisionOutcome, Topic
from clinic.vocabulary.procedure import Answer

Line = tuple[str, str]


@dataclass(frozen=True)
class AssessmentValues:
    """fields: columns of the assessment. feet: columns by foot. toes: columns by foot and toe.

    lines: by topic and code, the answer and the reaction, which only an allergy has. What is left out of them is
    stored as not recorded.
    """

    fields: Mapping[str, Any]
    feet: Mapping[str, Mapping[str, Any]]
    toes: Mapping[tuple[str, int], Mapping[str, Any]]
    lines: Mapping[Line, tuple[str, str]]


@transaction.atomic
def record_assessment(
    *, by: Member, patient: Patient, values: AssessmentValues, now: datetime, reason: str = "", key: str = ""
) -> Assessment:
    """reason: why unusual values are right. key: where the address had to be known before."""
    assessment = Assessment(patient=lock_person(patient), recorded_by=by, recorded_at=now, **values.fields)
    assessment.key = key or assessment.key
    assessment.keep(by=by, reason=reason)
    for foot, columns in values.feet.items():
        written_by(FootFinding(assessment=assessment, foot=foot, **columns), by, reason).save()
    for (foot, toe), columns in values.toes.items():
        written_by(AssessedToe(assessment=assessment, foot=foot, toe=toe, **columns), by, reason).save()
    lines = [
        AssessmentItem(assessment=assessment, topic=topic, code=code, **_answer(values, (topic, code)))
        for topic, code in every_line()
    ]
    keep_all(lines, by=by, reason=reason)
    return assessment


@transaction.atomic
def change_assessment(
    *, by: Member, assessment: Assessment, version: int, values: AssessmentValues, reason: str
) -> None:
    """Write the next version; rows that stay the same get none.

    version: the one the page showed. Raises Conflict if somebody changed the assessment meanwhile, or struck it out.
    """
    assessment.version = version
    put(assessment, values.fields)
    # Every change claims the assessment's version, so that two people never mix their findings.
    assessment.save_version(by=by, reason=reason)
    feet = {row.foot: row for row in FootFinding.objects.filter(assessment=assessment)}
    for foot, columns in values.feet.items():
        _write(feet.get(foot) or FootFinding(assessment=assessment, foot=foot), columns, by, reason)
    toes = {(row.foot, row.toe): row for row in AssessedToe.objects.filter(assessment=assessment)}
    for (foot, toe), columns in values.toes.items():
        _write(
            toes.pop((foot, toe), None) or AssessedToe(assessment=assessment, foot=foot, toe=toe), columns, by, reason
        )
    for row in toes.values():
        written_by(row, by, reason).delete()
    _write_lines(assessment, values, by, reason)


def _write_lines(assessment: Assessment, values: AssessmentValues, by: Member, reason: str) -> None:
    stored = {(row.topic, row.code): row for row in AssessmentItem.objects.filter(assessment=assessment)}
    for topic, code in every_line():
        row = stored.get((topic, code)) or AssessmentItem(assessment=assessment, topic=topic, code=code)
        _write(row, _answer(values, (topic, code)), by, reason)


def every_line() -> list[Line]:
    """Topic and code of everything that can be answered."""
    return [(topic.value, term.value) for topic in Topic for term in topic.terms]


def _answer(values: AssessmentValues, line: Line) -> dict[str, str]:
    answer, reaction = values.lines.get(line, (Answer.NOT_RECORDED.value, ""))
    return {"answer": answer, "reaction": reaction}


@transaction.atomic
def decide_flag(
    *, by: Member, assessment: Assessment, flag: Flag, outcome: DecisionOutcome, text: str, now: datetime
) -> FlagDecision:
    """Who may decide is the caller's question. An earlier decision about the flag stays readable."""
    return FlagDecision.objects.create(
        assessment=assessment,
        code=flag.code,
        level=flag.level,
        fact=flag.fact,
        outcome=outcome,
        text=text,
        decided_by=by,
        decided_at=now,
    )


@transaction.atomic
def record_consent(
    *,
    by: Member,
    patient: Patient,
    fields: Mapping[str, Any],
    points: Iterable[str],
    now: datetime,
    reason: str = "",
    key: str = "",
) -> Consent:
    """points: codes of what was talked about. reason: why unusual answers are right."""
    consent = Consent(patient=lock_person(patient), recorded_by=by, recorded_at=now, **fields)
    consent.key = key or consent.key
    consent.keep(by=by, reason=reason)
    wanted = set(points)
    elements = [ConsentElement(consent=consent, code=point.value) for point in ConsentPoint if point.value in wanted]
    if elements:
        keep_all(elements, by=by, reason=reason)
    return consent


@transaction.atomic
def reconfirm_consent(*, by: Member, consent: Consent, version: int, on: date) -> None:
    """The patient said foot, toe and side again, and they are the same. Raises Conflict if the consent moved on."""
    consent.version = version
    consent.reconfirmed_on, consent.reconfirmed_by = on, by
    consent.save_version(by=by, reason="Confirmed on the day")


@transaction.atomic
def withdraw_consent(*, by: Member, consent: Consent, version: int, on: date, reason: str) -> None:
    """The patient took it back; it counts no longer from that day on. Raises Conflict if the consent moved on."""
    consent.version = version
    consent.withdrawn_on, consent.withdrawn_by = on, by
    consent.save_version(by=by, reason=reason)


def _write(row: Model, columns: Mapping[str, Any], by: Member, reason: str) -> None:
    """Save what is new or another value."""
    if put(row, columns) or row.pk is None:
        written_by(row, by, reason).save()
