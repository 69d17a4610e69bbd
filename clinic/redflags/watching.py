"""From what was just saved to its red flags. The acts that save an operation, a review or a contact call this.

Rows of slices above are taken as they come; nothing of those slices is imported.
"""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

from clinic.access.models import Member
from clinic.dosing.amounts import Dose, Limit
from clinic.dosing.arithmetic import assess
from clinic.dosing.effect import dose_of_row
from clinic.dosing.models import approved_limits
from clinic.patients.models import Patient
from clinic.redflags.facts import FindingFacts, OperationFacts, ToeFacts
from clinic.redflags.models import RedFlag
from clinic.redflags.raising import keep_flags
from clinic.redflags.rules import RISK_WORDS, Raised, of_contact, of_finding, of_operation, of_report
from clinic.vocabulary.procedure import Answer, NailSide, Tourniquet
from clinic.vocabulary.recall import FluidSeen
from clinic.vocabulary.redflag import AlertOrigin
from clinic.vocabulary.review import Diagnosis, Observer
from clinic.vocabulary.sites import capital, toe_name
from clinic.vocabulary.theatre import BlockResult, CheckAnswer

LONGEST_FACT = 300
NOT_USED = {Tourniquet.NONE, Tourniquet.NOT_RECORDED}
FINDINGS = (
    "erythema_mm", "spreading", "lymphangitis", "fluid_amount", "pain", "numbness", "over_granulation", "dusky",
    "altered_pain", "pigment", "bone_signs", "unwell", "temperature_c", "pulse", "respiratory_rate",
)  # fmt: skip


def watch_operation(operation: Any, *, by: Member, now: datetime) -> list[RedFlag]:
    """Look at an operation as it is stored now; gives the flags that are new. None stand on one that is struck out."""
    found = [] if operation.struck_at else of_operation(operation_facts(operation))
    return keep_flags(operation, found, origin=AlertOrigin.OPERATION.value, by=by, now=now)


def watch_review(review: Any, *, by: Member, now: datetime, rows: Sequence[Any] | None = None) -> list[RedFlag]:
    """rows: the findings of its toes just made, of a review that is new."""
    found: list[Raised] = []
    if not review.struck_at:
        findings = (
            rows if rows is not None else list(review.toe_findings.select_related("nail_procedure").order_by("pk"))
        )
        found = [flag for toe in finding_facts(review, findings) for flag in of_finding(toe)]
        if review.observer == Observer.PATIENT and (report := getattr(review, "patient_report", None)):
            found += of_report(report.flags, day=review.day)
    return keep_flags(
        review.operation, list(dict.fromkeys(found)), origin=AlertOrigin.REVIEW.value, source_key=review.key,
        by=by, now=now, is_new=rows is not None,
    )  # fmt: skip


def watch_contact(contact: Any, *, by: Member, now: datetime) -> list[RedFlag]:
    day = (contact.made_on - contact.operation.performed_on).days
    found = of_contact(contact.reported, day=day)
    return keep_flags(
        contact.operation, found, origin=AlertOrigin.CONTACT.value, source_key=contact.key, by=by, now=now
    )


def risks_of(patient: Patient) -> tuple[str, ...]:
    return tuple(risk for risk in RISK_WORDS if getattr(patient, risk) == Answer.YES)


# --- an operation as facts


def operation_facts(operation: Any) -> OperationFacts:
    """Read afresh, since a row of it has just changed. A fixed number of statements."""
    day = operation.performed_on
    nails = operation.nail_procedures.order_by("pk").prefetch_related("treated_sides__applications")
    doses = list(operation.doses.order_by("pk").values_list(
        "agent", "strength_percent", "vasoconstrictor", "volume_ml", "nail_procedure__foot", "nail_procedure__toe",
        "batch", "expires_on",
    ))  # fmt: skip
    share, words = _dose_share(operation, doses)
    not_so = operation.checklist.filter(items__answer=CheckAnswer.NO).values_list("items__code", flat=True)
    return OperationFacts(
        age_years=operation.age_years,
        risks=risks_of(operation.patient),
        toes=tuple(_toe_facts(nail, day) for nail in nails),
        dose_share=share,
        dose_words=words,
        expired_doses=tuple(row[6] or "without a number" for row in doses if row[7] and row[7] < day),
        events=tuple(operation.events.order_by("pk").values_list("kind", flat=True)),
        not_so=frozenset(not_so),
        long_exposure_seconds=operation.practice.exposure_note_seconds,
        long_tourniquet_minutes=operation.practice.tourniquet_alarm_minutes,
    )


def _toe_facts(nail: Any, day: date) -> ToeFacts:
    sides = list(nail.treated_sides.all())
    used = nail.tourniquet not in NOT_USED or nail.tourniquet_on_at is not None
    return ToeFacts(
        key=nail.key,
        place=capital(toe_name(nail.foot, nail.toe)),
        tourniquet_used=used,
        tourniquet_on_at=nail.tourniquet_on_at,
        tourniquet_off_at=nail.tourniquet_off_at,
        is_closed=nail.block_result != BlockResult.NOT_RECORDED,  # asked at the end of every operation
        toe_colour=nail.toe_colour,
        capillary_refill_seconds=nail.capillary_refill_seconds,
        agent=nail.agent,
        exposures=tuple(side.exposure_seconds for side in sides if side.exposure_seconds is not None),
        whole_nail=any(side.side == NailSide.WHOLE for side in sides),
        toe=nail.toe,
        agent_expired=bool(nail.agent_expires_on and nail.agent_expires_on < day),
        infection_before=nail.infection_before,
    )


def _dose_share(operation: Any, rows: Sequence[Any]) -> tuple[Fraction | None, str]:
    if not rows:
        return None, ""
    doses, limits = [dose_of_row(row[:6]) for row in rows], approved_limits(operation.practice)
    return greatest_share(doses, limits, weight_kg=operation.weight_kg, age_years=operation.age_years)


def greatest_share(
    doses: Sequence[Dose], limits: Iterable[Limit], *, weight_kg: Decimal | None, age_years: int | None
) -> tuple[Fraction | None, str]:
    """The greatest share of any limit, at least, and the arithmetic of it; None where nobody approved a limit."""
    result = assess(doses, limits, weight_kg=weight_kg, age_years=age_years)
    parts = [(part.least, part.words) for part in (*result.totals, *result.digits)]
    if result.sum_words:
        parts.append((sum((total.least for total in result.totals), Fraction(0)), result.sum_words))
    share, words = max(parts, key=lambda part: part[0])
    return (share, words if len(words) <= LONGEST_FACT else result.headline[:LONGEST_FACT]) if share else (None, "")


# --- a review as facts


def finding_facts(review: Any, rows: Sequence[Any]) -> list[FindingFacts]:
    """Every toe of a review. rows: its findings with their toes. At most one statement, two more for a report."""
    is_infected = {row.nail_procedure_id: Diagnosis(row.diagnosis).infected for row in rows}
    since = _infected_since(review) if any(is_infected.values()) else {}
    risks, is_told = risks_of(review.operation.patient), review.observer == Observer.PATIENT
    yellow = _told_yellow(review) if is_told else frozenset()
    return [
        FindingFacts(
            key=row.nail_procedure.key,
            place=capital(toe_name(row.nail_procedure.foot, row.nail_procedure.toe)),
            day=review.day,
            healing=row.healing,
            values={name: getattr(row, name) for name in FINDINGS},
            infected=is_infected[row.nail_procedure_id],
            infected_since_day=since.get(row.nail_procedure_id),
            risks=risks,
            is_told=is_told,
            told_yellow=row.nail_procedure_id in yellow,
        )
        for row in rows
    ]


def _told_yellow(review: Any) -> frozenset[int]:
    """Toes at which the patient reported yellow or smelly fluid; none where a clinician wrote the words down."""
    report = getattr(review, "patient_report", None)
    seen = report.toes.filter(fluid=FluidSeen.YELLOW) if report else ()
    return frozenset(toe.nail_procedure_id for toe in seen)


def _infected_since(review: Any) -> dict[int, int]:
    """By toe, the day of its first diagnosed infection among standing reviews up to this one."""
    infected = [term.value for term in Diagnosis if term.infected]
    earlier = review.operation.reviews.filter(struck_at__isnull=True, seen_on__lte=review.seen_on)
    found = earlier.filter(toe_findings__diagnosis__in=infected).order_by("-seen_on")
    days = found.values_list("toe_findings__nail_procedure_id", "seen_on")
    return {nail: (seen_on - review.operated_on).days for nail, seen_on in days}
