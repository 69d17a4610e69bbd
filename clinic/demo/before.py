"""What was recorded before and around each operation: assessment, consent, checklist, the end, batches.

Most records are complete and some have gaps, as in a real practice. Everything is dealt by the keys of the operations,
so that nothing else of the plan depends on it.
"""

import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from clinic.demo.people import HARBOUR_LEAD, HARBOUR_SECOND
from clinic.demo.shapes import LAST_DAY, OperationPlan, Plan, ToePlan, is_weekday
from clinic.demo.surgery import ZONE
from clinic.preparation.facts import Facts, FootFacts, ToeFacts
from clinic.preparation.flags import Flag, flags_of
from clinic.vocabulary.preparation import (
    Allergen,
    Antithrombotic,
    ConsentIntent,
    ConsentPoint,
    Diabetes,
    FlagLevel,
    FootRisk,
    Immunosuppression,
    Indication,
    PriorSurgery,
    Pulse,
    Reaction,
    Topic,
    WeightBasis,
)
from clinic.vocabulary.procedure import Agent, Answer, ConsentGiver, EventKind, Foot, LocalInfection, Vasoconstrictor
from clinic.vocabulary.sites import NailPart, part_of
from clinic.vocabulary.theatre import CHECK_ITEMS, CheckAnswer, Phase, PhaseTiming

# Shares of operations with a gap; common sense, not taken from anywhere.
NO_CONSENT, NOT_CONFIRMED, CONSENTED_TO_BOTH = 0.015, 0.02, 0.01
NO_ASSESSMENT, NO_PULSES = 0.015, 0.03
AFTERWARDS, PHASE_MISSING = 0.04, 0.01
NO_AGENT_BATCH, NO_AGENT_EXPIRY, KIND_NOT_RECORDED, WITH_ADRENALINE = 0.03, 0.015, 0.02, 0.05
ASKED_TOPICS = (Topic.ANTITHROMBOTIC, Topic.CONDITION, Topic.ALLERGY)
MISMATCH_NOTE = "List and drawing differed; settled with the patient and the consent before going on."
NOTICED_NOTE = "Still in place when it was asked; taken off and shown, blood flow returned."
REASONS = {
    FlagLevel.CAUTION: "Known, talked about with the patient, and looked at again on the day.",
    FlagLevel.STOP: "Discussed with the patient and the doctor who looks after it; goes ahead on this day.",
}


@dataclass
class AssessmentPlan:
    """columns: of the assessment. feet, toes: theirs, by foot, and by foot and toe. present: topic, code, reaction."""

    on: date
    columns: dict[str, object]
    feet: dict[str, dict[str, object]]
    toes: dict[tuple[str, int], dict[str, object]]
    present: dict[tuple[str, str], str]
    decided: list[Flag]


@dataclass
class ConsentPlan:
    """decided: whether the operation took less than the consent names, and a clinician said why."""

    columns: dict[str, object]
    points: list[str]
    confirmed: bool
    toe: ToePlan
    decided: bool = False


@dataclass
class PhasePlan:
    phase: Phase
    timing: PhaseTiming
    at: datetime
    initials: str
    answers: dict[str, str]
    note: str = ""


@dataclass
class Record:
    """What belongs to one operation. ends: columns of each toe by its key; end: columns of the operation."""

    assessment: AssessmentPlan | None = None
    consents: list[ConsentPlan] = field(default_factory=list)
    phases: list[PhasePlan] = field(default_factory=list)
    end: dict[str, object] = field(default_factory=dict)
    ends: dict[str, dict[str, object]] = field(default_factory=dict)


def prepared_of(plan: Plan) -> list[tuple[OperationPlan, Record]]:
    """Assessment and consent of the operations that are still to come today."""
    found = []
    for operation in plan.prepared:
        rng, talked_on = random.Random(f"{operation.key} before"), operation.performed_on - timedelta(days=5)
        consents = [_consent(operation, toe, talked_on, confirmed=True, wider=False) for toe in operation.toes]
        found.append((operation, Record(_assessment(rng, operation, talked_on, examined=True), consents)))
    return found


def records_of(plan: Plan, *, unfinished: OperationPlan | None) -> dict[int, Record]:
    """By id of the operation. unfinished: the one that is still in the room.

    The scenario's operations and the later ones are dealt apart: what is known at the cut-off must not depend on today.
    """
    found = {id(operation): Record() for operation in plan.operations}
    later = [operation for operation in plan.operations if operation.performed_on > LAST_DAY]
    first = [operation for operation in plan.operations if operation.performed_on <= LAST_DAY]
    for operations in (first, later):
        _deal(operations, found)
    if unfinished:
        record = found[id(unfinished)]
        record.phases, record.end, record.ends = record.phases[:2], {}, {}
    return found


def _deal(operations: list[OperationPlan], found: dict[int, Record]) -> None:
    chosen = Chooser(operations)
    no_consent, not_confirmed = chosen("consent", NO_CONSENT), chosen("confirmed", NOT_CONFIRMED)
    wider = chosen("both", CONSENTED_TO_BOTH, lambda o: len(o.toes) == 1 and len(o.toes[0].sides) == 1 and _partial(o))
    unassessed, no_pulses = chosen("assessment", NO_ASSESSMENT), chosen("pulses", NO_PULSES)
    late, missing = chosen("late", AFTERWARDS), chosen("missing", PHASE_MISSING)
    no_batch, no_expiry = chosen("batch", NO_AGENT_BATCH, _chemical), chosen("expiry", NO_AGENT_EXPIRY, _chemical)
    unknown = chosen("kind", KIND_NOT_RECORDED)
    adrenaline = chosen("adrenaline", WITH_ADRENALINE, lambda o: {dose.agent for dose in o.doses} == {"lidocaine"})
    for operation in operations:
        record, rng, place = found[id(operation)], random.Random(f"{operation.key} before"), id(operation)
        _kinds(operation, unknown=place in unknown, adrenaline=place in adrenaline)
        talked_on = _day_before(rng, operation)
        if place not in unassessed:
            record.assessment = _assessment(rng, operation, talked_on, examined=place not in no_pulses)
        if place not in no_consent and operation.consent != ConsentGiver.NOT_RECORDED:
            given = {"confirmed": place not in not_confirmed, "wider": place in wider}
            record.consents = [_consent(operation, toe, talked_on, **given) for toe in operation.toes]
        record.phases = _phases(operation, late=place in late, missing=place in missing)
        record.end, record.ends = (
            _end(rng),
            {
                toe.key: _toe_end(rng, toe, operation, batch=place not in no_batch, expiry=place not in no_expiry)
                for toe in operation.toes
            },
        )


class Chooser:
    """Picks a share of the operations, each reason on its own, by nothing but their keys."""

    def __init__(self, operations: Iterable[OperationPlan]) -> None:
        self.operations = list(operations)

    def __call__(
        self, reason: str, share: float, fits: Callable[[OperationPlan], bool] = lambda operation: True
    ) -> set[int]:
        able = [operation for operation in self.operations if fits(operation)]
        able.sort(key=lambda operation: random.Random(f"{operation.key} {reason}").random())
        return {id(operation) for operation in able[: round(share * len(self.operations))]}


def _chemical(operation: OperationPlan) -> bool:
    return any(toe.technique.takes_agent for toe in operation.toes)


def _partial(operation: OperationPlan) -> bool:
    return all(toe.partial for toe in operation.toes)


def _kinds(operation: OperationPlan, *, unknown: bool, adrenaline: bool) -> None:
    kind = Vasoconstrictor.ADRENALINE_200 if adrenaline else Vasoconstrictor.NONE
    for dose in operation.doses:
        dose.vasoconstrictor = Vasoconstrictor.NOT_RECORDED if unknown else kind
    agents = len({dose.agent for dose in operation.doses}) or 1
    for place, dose in enumerate(operation.doses):
        dose.toe = operation.toes[min(place // agents, len(operation.toes) - 1)]


def _day_before(rng: random.Random, operation: OperationPlan) -> date:
    day = operation.performed_on - timedelta(days=rng.randint(4, 28))
    while not is_weekday(day):
        day -= timedelta(days=1)
    return day


# --- assessment


def _assessment(rng: random.Random, operation: OperationPlan, day: date, *, examined: bool) -> AssessmentPlan:
    patient = operation.patient
    feet = {foot.value: _foot(rng, poor="poor_circulation" in patient.risks, examined=examined) for foot in Foot}
    toes = {(toe.foot, toe.toe): _toe(toe) for toe in operation.toes}
    columns = _health(operation, day)
    present: dict[tuple[str, str], str] = {}
    if "antithrombotic" in patient.risks:
        medicine = rng.choice((Antithrombotic.ANTIPLATELET, Antithrombotic.ANTIPLATELET, Antithrombotic.DOAC))
        present[Topic.ANTITHROMBOTIC.value, medicine.value] = ""
    if rng.random() < 0.06:
        allergen, reaction = rng.choice(((Allergen.LATEX, Reaction.CONTACT), (Allergen.ANTIBIOTIC, Reaction.RASH)))
        present[Topic.ALLERGY.value, allergen.value] = reaction.value
    facts = _facts(operation, columns, feet, toes, present)
    decided = [each for each in flags_of(facts, on=operation.performed_on) if each.level != FlagLevel.NOTE]
    return AssessmentPlan(day, columns, feet, toes, present, decided)


def _foot(rng: random.Random, *, poor: bool, examined: bool) -> dict[str, object]:
    if not examined:
        return {"dorsalis_pedis": Pulse.NOT_EXAMINED.value, "posterior_tibial": Pulse.NOT_EXAMINED.value}
    found = {"dorsalis_pedis": Pulse.PALPABLE.value, "posterior_tibial": Pulse.PALPABLE.value}
    if poor:
        found |= {"posterior_tibial": Pulse.NOT_PALPABLE.value, "abpi": Decimal(rng.choice(("0.78", "0.84", "0.88")))}
    return found


def _toe(toe: ToePlan) -> dict[str, object]:
    """Redness spread only after the talk, so that the day of the operation found more than the assessment."""
    seen = {LocalInfection.SPREADING: LocalInfection.INFLAMED}.get(toe.infection_before, toe.infection_before)
    return {
        "infection": LocalInfection(seen).value,
        "bone_infection": Answer.NO.value,
        "prior_surgery": (PriorSurgery.AVULSION if toe.prior_surgery == Answer.YES else PriorSurgery.NONE).value,
    }


def _health(operation: OperationPlan, day: date) -> dict[str, object]:
    risks = operation.patient.risks
    diabetic, suppressed = "diabetes" in risks, "immunosuppressed" in risks
    weight = None if operation.weight_kg is None else Decimal(operation.weight_kg)
    again = any(toe.prior_surgery == Answer.YES for toe in operation.toes)
    return {
        "indication": (Indication.RECURRENCE if again else Indication.ONYCHOCRYPTOSIS).value,
        "diabetes": (Diabetes.TYPE_2 if diabetic else Diabetes.NONE).value,
        "foot_risk": (FootRisk.LOW if diabetic else FootRisk.NOT_APPLICABLE).value,
        "hba1c": Decimal("52") if diabetic else None,
        "hba1c_unit": "mmol_mol" if diabetic else "",
        "hba1c_on": day - timedelta(days=20) if diabetic else None,
        "immunosuppression": (Immunosuppression.STEROID if suppressed else Immunosuppression.NONE).value,
        "pregnancy": "not_applicable",
        "breastfeeding": "not_applicable",
        "tobacco": "never",
        "weight_kg": weight,
        "weight_basis": (WeightBasis.MEASURED if weight else WeightBasis.NOT_RECORDED).value,
        "weight_on": day if weight else None,
    }


def _facts(operation, columns, feet, toes, present) -> Facts:
    own = {name: value for name, value in columns.items() if name != "indication" and not name.startswith("weight_")}
    return Facts(
        age_years=operation.patient.age_on(operation.performed_on),
        weight_kg=columns["weight_kg"],
        feet=tuple(FootFacts(foot=foot, **found) for foot, found in feet.items()),
        toes=tuple(ToeFacts(foot=foot, toe=toe, **found) for (foot, toe), found in toes.items()),
        antithrombotics={code: "yes" for topic, code in present if topic == Topic.ANTITHROMBOTIC},
        allergies={code: reaction for (topic, code), reaction in present.items() if topic == Topic.ALLERGY},
        **own,
    )


# --- consent


def _consent(operation: OperationPlan, toe: ToePlan, day: date, *, confirmed: bool, wider: bool) -> ConsentPlan:
    part = NailPart.BOTH.value if wider else part_of([side.name for side in toe.sides])
    intent = ConsentIntent.PERMANENT if toe.matrix_destroyed else ConsentIntent.TEMPORARY
    columns = {
        "foot": toe.foot, "toe": toe.toe, "part": part, "intent": intent.value, "given_by": operation.consent,
        "photographs": Answer.YES.value, "interpreter": "not_needed", "discussed_on": day,
    }  # fmt: skip
    return ConsentPlan(columns, ConsentPoint.codes(), confirmed, toe, decided=wider)


# --- checklist and end


def _phases(operation: OperationPlan, *, late: bool, missing: bool) -> list[PhasePlan]:
    begun = operation.toes[0].tourniquet_on_at or datetime.combine(operation.performed_on, time(14, 10), ZONE)
    minutes = {Phase.BEFORE_ANAESTHESIA: -22, Phase.BEFORE_INCISION: -2, Phase.BEFORE_LEAVING: 25}
    kinds = {event.kind for event in operation.events}
    found = []
    for phase, after in minutes.items():
        last = phase == Phase.BEFORE_LEAVING
        if missing and last:
            continue
        timing = PhaseTiming.AFTERWARDS if late and last else PhaseTiming.LIVE
        at = begun + timedelta(minutes=after + (90 if timing == PhaseTiming.AFTERWARDS else 0))
        answers = {item.code: CheckAnswer.YES.value for item in CHECK_ITEMS if item.phase == phase}
        note = ""
        if phase == Phase.BEFORE_INCISION and EventKind.SIDE_MISMATCH in kinds:
            answers["site_repeated"], note = CheckAnswer.NO.value, MISMATCH_NOTE
        if last and EventKind.TOURNIQUET_NOTICED in kinds:
            answers["tourniquet_off"], note = CheckAnswer.NO.value, NOTICED_NOTE
        if not _chemical(operation):
            answers |= {code: CheckAnswer.NOT_APPLICABLE.value for code in ("agent_plan", "skin") if code in answers}
        found.append(PhasePlan(phase, timing, at, initials_beside(operation), answers, note))
    return found


def initials_beside(operation: OperationPlan) -> str:
    """Of whoever was in the room beside the operator."""
    return {HARBOUR_LEAD: "QD", HARBOUR_SECOND: "HS"}.get(operation.operator, "TM")


def _end(rng: random.Random) -> dict[str, object]:
    return {
        "dressing": rng.choice(("non_adherent", "non_adherent", "alginate", "iodine")),
        "outer_dressing": rng.choice(("tubular", "conforming")),
        "aftercare": "both",
    }


def _toe_end(
    rng: random.Random, toe: ToePlan, operation: OperationPlan, *, batch: bool, expiry: bool
) -> dict[str, object]:
    used = toe.tourniquet != "none"
    columns: dict[str, object] = {
        "block_result": "effective", "haemostasis": rng.choice(("pressure", "pressure", "alginate")),
        "histology_sent": Answer.NO.value,
        "toe_colour": "pink" if used else "not_recorded",
        "capillary_refill_seconds": Decimal(rng.choice(("1", "2", "2"))) if used else None,
        "removal_seen_by": initials_beside(operation) if toe.witnessed == Answer.YES else "",
    }  # fmt: skip
    if toe.technique.takes_agent:
        columns |= {
            "agent_batch": f"DEMO-{Agent(toe.agent).value[:3].upper()}-{rng.randint(10, 99)}" if batch else "",
            "agent_expires_on": operation.performed_on + timedelta(days=rng.randint(60, 500)) if expiry else None,
            "skin_protected": Answer.YES.value, "dry_field": Answer.YES.value,
            "lavage_ml": None if toe.lavage == "none" else rng.choice((10, 15, 15, 20)),
        }  # fmt: skip
    return columns
