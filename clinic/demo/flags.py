"""Red flags of the demonstration: what the rules make of its records, answered but for one that rang yesterday."""

import random
from collections.abc import Iterator
from datetime import datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction

from clinic.demo.before import Record
from clinic.demo.load_before import APPROVED
from clinic.demo.rows import Rows
from clinic.demo.shapes import ContactPlan, OperationPlan, ReviewPlan, ToePlan, mint
from clinic.demo.surgery import ZONE
from clinic.dosing.amounts import Dose
from clinic.dosing.candidates import CANDIDATES
from clinic.redflags.facts import FindingFacts, OperationFacts, ToeFacts
from clinic.redflags.models import RedFlag, RedFlagSeen
from clinic.redflags.rules import RISK_WORDS, Raised, of_contact, of_finding, of_operation
from clinic.redflags.watching import greatest_share
from clinic.vocabulary.procedure import Anaesthetic, Foot, NailSide, Tourniquet, Vasoconstrictor
from clinic.vocabulary.redflag import Alert, AlertAction, AlertOrigin
from clinic.vocabulary.review import Diagnosis, Observer
from clinic.vocabulary.sites import capital, toe_name

OPERATED_AT, SEEN_AT, CALLED_AT = time(15, 50), time(16, 5), time(11, 5)
ANSWERED_AFTER = timedelta(minutes=12)
USUAL = (AlertAction.EXAMINED, "Looked at again with the operator; nothing to add to the record.")
ANSWERS = {
    Alert.TOURNIQUET_LONG: (AlertAction.EXAMINED, "Toe pink, refill 2 s; looked at again before the patient left."),
    Alert.TOURNIQUET_LEFT: (AlertAction.EXAMINED, "Taken off at the last check and shown; toe pink after a minute."),
    Alert.EXPIRED: (AlertAction.PROTOCOL, "Kept as an incident, the patient was told, the stock was gone through."),
    Alert.CELLULITIS: (AlertAction.TOLD, "Told the practice lead on the same day; seen together with the GP."),
    Alert.HIGH_RISK_FOOT: (AlertAction.HANDED_OVER, "Letter and phone call to the foot service on the same day."),
    Alert.BONE_INFECTION: (AlertAction.HANDED_OVER, "Handed over to the hospital on the same day, with the record."),
    Alert.DOSE_ABOVE: (AlertAction.EXAMINED, "Patient watched for an hour by the operator, well throughout."),
    Alert.DOSE_NEAR: (AlertAction.EXAMINED, "Seen by the operator at the time; nothing more was given."),
    Alert.NOT_HEALING: (AlertAction.EXAMINED, "Looked at with the practice lead; clean, no growth seen."),
    Alert.AGENT_EXPOSURE: (AlertAction.EXAMINED, "Talked about with parent and operator; nothing unusual after it."),
}


def write_flags(writer: Rows, records: dict[int, Record]) -> None:
    rows = []
    for operation in writer.plan.operations:
        stored = writer.rows[id(operation)]
        rows += [
            _row(
                writer,
                operation,
                flag,
                AlertOrigin.OPERATION,
                "",
                stored.operator,
                _at(stored.performed_on, OPERATED_AT),
            )
            for flag in of_operation(_operation_facts(operation, records[id(operation)]))
        ]
        rows += [row for review in operation.reviews for row in _of_review(writer, operation, review)]
        rows += [row for contact in operation.contacts for row in _of_contact(writer, operation, contact)]
    writer.save(rows)
    RedFlagSeen.objects.bulk_create(
        RedFlagSeen(flag=row, by=row.answered_by, at=row.answered_at - timedelta(minutes=2))
        for row in rows
        if row.answered_by
    )


def _at(day, clock: time) -> datetime:
    return datetime.combine(day, clock, ZONE)


def _row(
    writer: Rows, operation: OperationPlan, flag: Raised, origin: AlertOrigin, source: str, by, at: datetime,
    *, answered: bool = True,
) -> RedFlag:  # fmt: skip
    action, text = ANSWERS.get(flag.alert, USUAL)
    answer = {"action": action, "action_text": text, "answered_by": by, "answered_at": at + ANSWERED_AFTER}
    return writer.make(
        RedFlag, None, by=by, at=at,
        key=mint(random.Random(f"{operation.key}{source}{flag.alert}{flag.fact}")),
        operation=writer.rows[id(operation)], alert=flag.alert, level=flag.alert.level, fact=flag.fact,
        toe_key=flag.toe, origin=origin, source_key=source, raised_at=at, raised_by=by, **(answer if answered else {}),
    )  # fmt: skip


def _of_review(writer: Rows, operation: OperationPlan, plan: ReviewPlan) -> Iterator[RedFlag]:
    review = writer.rows[id(plan)]
    by, at = review.recorded_by, _at(plan.recorded_on or plan.seen_on, SEEN_AT)
    for toe, values in plan.toes:
        for flag in of_finding(_finding_facts(operation, plan, toe, values)):
            yield _row(writer, operation, flag, AlertOrigin.REVIEW, plan.key, by, at)


def _of_contact(writer: Rows, operation: OperationPlan, plan: ContactPlan) -> Iterator[RedFlag]:
    day = (plan.made_on - operation.performed_on).days
    for flag in of_contact(plan.reported, day=day):
        at = _at(plan.made_on, CALLED_AT)
        yield _row(writer, operation, flag, AlertOrigin.CONTACT, plan.key, writer.clerk, at, answered=plan.handled)


def _risks(operation: OperationPlan) -> tuple[str, ...]:
    return tuple(risk for risk in RISK_WORDS if risk in operation.patient.risks)


def _operation_facts(operation: OperationPlan, record: Record) -> OperationFacts:
    not_so = {code for phase in record.phases for code, answer in phase.answers.items() if answer == "no"}
    day = operation.performed_on
    share, words = _share(operation)
    return OperationFacts(
        age_years=operation.patient.age_on(day),
        risks=_risks(operation),
        toes=tuple(_toe_facts(toe, record) for toe in operation.toes),
        dose_share=share,
        dose_words=words,
        expired_doses=tuple(dose.batch for dose in operation.doses if dose.expires_on < day),
        events=tuple(event.kind for event in operation.events),
        not_so=frozenset(not_so),
    )


def _share(operation: OperationPlan) -> tuple[Fraction | None, str]:
    """Beside the limits that the demonstration approves."""
    doses = [
        Dose(
            Anaesthetic(dose.agent), Decimal(dose.strength_percent), Vasoconstrictor(dose.vasoconstrictor),
            Decimal(dose.volume_ml), (Foot(dose.toe.foot), dose.toe.toe) if dose.toe else None,
        )
        for dose in operation.doses
    ]  # fmt: skip
    limits = [candidate.limit for candidate in CANDIDATES if candidate.code in APPROVED]
    weight = None if operation.weight_kg is None else Decimal(operation.weight_kg)
    age = operation.patient.age_on(operation.performed_on)
    return greatest_share(doses, limits, weight_kg=weight, age_years=age) if doses else (None, "")


def _toe_facts(toe: ToePlan, record: Record) -> ToeFacts:
    end = record.ends.get(toe.key, {})
    return ToeFacts(
        key=toe.key, place=capital(toe_name(toe.foot, toe.toe)), tourniquet_used=toe.tourniquet != Tourniquet.NONE,
        tourniquet_on_at=toe.tourniquet_on_at, tourniquet_off_at=toe.tourniquet_off_at, is_closed=bool(end),
        toe_colour=str(end.get("toe_colour", "")),
        capillary_refill_seconds=end.get("capillary_refill_seconds") and Decimal(end["capillary_refill_seconds"]),
        agent=toe.agent.value,
        exposures=tuple(sum(side.applications) or side.stated_seconds or 0 for side in toe.sides),
        whole_nail=any(side.name == NailSide.WHOLE for side in toe.sides), toe=toe.toe,
        infection_before=str(toe.infection_before),
    )  # fmt: skip


def _finding_facts(operation: OperationPlan, review: ReviewPlan, toe: ToePlan, values: dict) -> FindingFacts:
    infected = [
        (each.seen_on - operation.performed_on).days
        for each in operation.reviews
        for seen, found in each.toes
        if seen is toe and Diagnosis(found["diagnosis"]).infected and each.seen_on <= review.seen_on
    ]
    return FindingFacts(
        key=toe.key, place=capital(toe_name(toe.foot, toe.toe)), day=(review.seen_on - operation.performed_on).days,
        healing=values["healing"], values=values, infected=Diagnosis(values["diagnosis"]).infected,
        infected_since_day=min(infected, default=None), risks=_risks(operation),
        is_told=review.observer == Observer.PATIENT,
    )  # fmt: skip
