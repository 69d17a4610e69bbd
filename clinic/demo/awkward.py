"""Records that are seldom and that break programs: thirty of them, woven into the totals of the scenario."""

import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from clinic.demo.course import visit
from clinic.demo.deal import PNA_PHENOL, set_birth
from clinic.demo.shapes import DraftPlan, EventPlan, OperationPlan, PhotographPlan, Plan, Regrowth, mint
from clinic.demo.surgery import ZONE, dose
from clinic.vocabulary.procedure import Answer, ConsentGiver, EventKind, Harm, StageSystem, Tourniquet
from clinic.vocabulary.review import Extent, Means, Origin, Retreatment, Symptoms, UntreatedSide

RECORDED, DRAFT = "in the record", "unsaved draft"


@dataclass(frozen=True)
class Awkward:
    number: int
    what: str
    status: str = RECORDED


AWKWARD = (
    Awkward(1, "both sides treated, only the tibial one grows back"),
    Awkward(2, "ingrowth at the untreated side at 12 months"),
    Awkward(3, "recurrence first seen at 14 months, after a clear answer at 12"),
    Awkward(4, "re-operation on the same side: new procedure, new clock, same patient"),
    Awkward(5, "regrowth seen at seven months, operated on elsewhere, then lost"),
    Awkward(6, "seen at ten months without regrowth and not at 12"),
    Awkward(7, "died at five months"),
    Awkward(8, "antibiotic from the GP for straw-coloured fluid on day 9"),
    Awkward(9, "thick yellow fluid first seen 29 days after the operation, and in another record 30 days after"),
    Awkward(10, "pus before the operation and an infection afterwards"),
    Awkward(11, "two toes, 2 x 4 mL lidocaine 2 % at 48 kg: above one teaching profile, below the label"),
    Awkward(12, "weight missing"),
    Awkward(13, "strength of the anaesthetic typed as 20", DRAFT),
    Awkward(14, "time off of the tourniquet missing, imported from paper"),
    Awkward(15, "tourniquet across midnight"),
    Awkward(16, "exposure known in all, single applications unknown"),
    Awkward(17, "phenol 80 % without a basis, and 89 % w/w"),
    Awkward(18, "second ampoule expired; said in the note, since the list of incidents has six"),
    Awkward(19, "questionnaire says pain, the examination says none"),
    Awkward(20, "patient aged 91"),
    Awkward(21, "the only fifth toe of its year"),
    Awkward(22, "operation on 29 February"),
    Awkward(23, "the same person in both practices"),
    Awkward(24, "apostrophe, accent, single name; text beginning with an equals sign"),
    Awkward(25, "review entered weeks after the visit"),
    Awkward(26, "side amended after sign-off"),
    Awkward(27, "photograph that carried its place when it was sent"),
    Awkward(28, "stage in another system than the other records"),
    Awkward(29, "child without a recorded consent-giver"),
    Awkward(30, "no matricectomy: regrowth is not applicable"),
)
DIED_ON_DAY, TEN_MONTHS, FOURTEEN_MONTHS, TOLD_ELSEWHERE_ON_DAY = 153, 305, 430, 236
# "2 %" typed as 20 at the anaesthetic; the agent's strength beside it shows the same slip on a page without doses.
TYPED_TENFOLD = {
    "toe1-foot": "right",
    "toe1-toe": "1",
    "toe1-technique": "pna_chemical",
    "toe1-agent": "phenol",
    "toe1-strength_percent": "20",
    "dose1-agent": "lidocaine",
    "dose1-strength_percent": "20",
}
INJECTION = '=HYPERLINK("https://example.org";"typed by the patient")'


class Picker:
    """Hands out ordinary operations, each once, so that no record is awkward twice."""

    def __init__(self, rng: random.Random, plan: Plan) -> None:
        self.rng = rng
        revised = [o for o in plan.operations if any(side.revises for toe in o.toes for side in toe.sides)]
        self.free = [
            o for o in plan.operations if not o.tags and o.fate != "event" and o not in revised and not o.events
        ]
        self.free = [o for o in self.free if o.outcome != "event"]
        rng.shuffle(self.free)

    def __call__(self, fits: Callable[[OperationPlan], bool]) -> OperationPlan:
        found = next(operation for operation in self.free if fits(operation))
        self.free.remove(found)
        return found


def single(operation: OperationPlan) -> bool:
    return len(operation.toes) == 1


def plain_phenol(operation: OperationPlan) -> bool:
    toe = operation.toes[0]
    return single(operation) and toe.group == PNA_PHENOL and len(toe.sides) == 1 and operation.contacted_early


def weave(rng: random.Random, plan: Plan) -> None:
    """What has to be in place before the reviews are written."""
    by_tag = {tag: operation for operation in plan.operations for tag in operation.tags}
    pick = Picker(rng, plan)
    plan.rows |= {
        1: by_tag["both-sides"].toes,
        3: by_tag["late-recurrence"].toes,
        4: by_tag["again-revised"].toes[0].sides,
        5: by_tag["seven-months"].toes,
        21: [by_tag["little-toe-1"].toes[0], by_tag["little-toe-2"].toes[0]],
        22: [by_tag["leap-day"]],
        30: [toe for toe in plan.toes if not toe.matrix_destroyed and toe.fate in {"clear", "event"}],
    }
    died = by_tag["died"]
    died.patient.died_on = died.on(DIED_ON_DAY)
    plan.rows[7] = [died.patient]
    _of_surgery(rng, plan, pick)
    _of_people(rng, plan, pick)
    _of_follow_up(plan, pick)
    _incidents(plan, pick)
    plan.rows[27] = pick(lambda o: plain_phenol(o) and o.fate == "clear" and o.consent == ConsentGiver.PATIENT).toes


def _of_surgery(rng: random.Random, plan: Plan, pick: Picker) -> None:
    plan.rows[11] = [_above_one_profile(rng, pick)]
    no_weight = pick(single)
    no_weight.weight_kg = None
    plan.rows[12] = [no_weight]
    paper = pick(lambda o: single(o) and o.toes[0].tourniquet_on_at and not o.toes[0].tourniquet_off_at)
    paper.note = "Imported from the paper record; time off of the tourniquet is not written there."
    plan.rows[14] = paper.toes
    plan.rows[15] = [_across_midnight(pick)]
    plan.rows[16] = [_only_total(pick)]
    plan.rows[17] = [_without_basis(pick), pick(plain_phenol).toes[0]]
    plan.rows[18] = [_expired(pick)]
    amended = pick(lambda o: plain_phenol(o) and o.toes[0].sides[0].name == "fibular").toes[0].sides[0]
    plan.amended.append((amended, "tibial", "The consent form and the drawing say fibular"))
    plan.rows[26] = [amended]
    staged = pick(lambda o: any(toe.stage_system == StageSystem.NONE for toe in o.toes))
    toe = next(toe for toe in staged.toes if toe.stage_system == StageSystem.NONE)
    toe.stage_system, toe.stage = StageSystem.HEIFETZ, "II"
    plan.rows[28] = [toe]


def _above_one_profile(rng: random.Random, pick: Picker) -> OperationPlan:
    """160 mg at 48 kg: 111 % of 3 mg/kg, 80 % of 200 mg."""
    both = pick(
        lambda o: (
            len(o.toes) == 2
            and {dose.strength_percent for dose in o.doses} == {"2.00"}
            and 12 <= o.patient.age_on(o.performed_on) < 80
        )
    )
    both.weight_kg = "48.0"
    both.doses = [dose(rng, both, "lidocaine", "2.00", "4.0") for _ in both.toes]
    return both


def _across_midnight(pick: Picker) -> object:
    operation = pick(lambda o: single(o) and o.toes[0].tourniquet_off_at and o.patient.age_at_first >= 18)
    toe = operation.toes[0]
    lasted = toe.tourniquet_off_at - toe.tourniquet_on_at
    toe.tourniquet_on_at = datetime.combine(operation.performed_on, time(23, 58), ZONE)
    toe.tourniquet_off_at = toe.tourniquet_on_at + lasted
    operation.note = "Urgent, late at night."
    return toe


def _only_total(pick: Picker) -> object:
    side = pick(lambda o: plain_phenol(o) and o.toes[0].band == 180 and o.fate == "clear").toes[0].sides[0]
    side.applications, side.stated_seconds = (), 180
    return side


def _without_basis(pick: Picker) -> object:
    toe = pick(plain_phenol).toes[0]
    toe.strength_percent, toe.strength_basis = "80.0", "not_recorded"
    return toe


def _expired(pick: Picker) -> OperationPlan:
    operation = pick(lambda o: len(o.doses) == 2)
    operation.doses[1].expires_on = operation.performed_on - timedelta(days=21)
    operation.note = "Second ampoule was past its date; noticed after the injection, patient told, no effect seen."
    return operation


def _of_people(rng: random.Random, plan: Plan, pick: Picker) -> None:
    old = pick(lambda o: o.patient.age_at_first >= 80 and len(o.patient.operations) == 1)
    old.patient.age_at_first = 91
    set_birth(rng, old.patient)
    plan.rows[20] = [old.patient]
    plan.rows[23] = [pick(lambda o: o.patient.age_at_first >= 18).patient]
    accent = pick(lambda o: single(o) and o.patient.sex == "female").patient
    apostrophe, lone = pick(single).patient, pick(single).patient
    apostrophe.family_name = f"O'{apostrophe.family_name}"
    accent.given_name = "Zoë"
    lone.given_name = ""
    plan.rows[24] = [apostrophe, accent, lone]
    child = pick(lambda o: o.patient.age_on(o.performed_on) < 16)
    child.consent = ConsentGiver.NOT_RECORDED
    plan.rows[29] = [child]
    plan.drafts.append(DraftPlan("idris", "operation", plan.patients[-1].key, dict(TYPED_TENFOLD)))


def _of_follow_up(plan: Plan, pick: Picker) -> None:
    ten = pick(lambda o: single(o) and o.loss == "no_reply" and o.fate == "lost" and bool(o.six_month_day))
    untreated = pick(lambda o: plain_phenol(o) and o.fate == "clear" and o.source == "operator")
    pain = pick(lambda o: plain_phenol(o) and o.fate == "clear" and o.source == "operator")
    late = pick(lambda o: single(o) and o.fate == "clear")
    plan.rows |= {2: untreated.toes, 6: ten.toes, 19: pain.toes, 25: [late]}


def _incidents(plan: Plan, pick: Picker) -> None:
    """With the bone infection there are six. No tourniquet was retained."""
    noticed = pick(lambda o: o.toes[0].tourniquet == Tourniquet.RING)
    burns = [pick(plain_phenol) for _ in range(2)]
    stopped, faint = pick(single), pick(single)
    for operation, kind, harm, note in (
        (stopped, EventKind.SIDE_MISMATCH, Harm.NEAR_MISS, "List and drawing differed; stopped at Time Out."),
        (noticed, EventKind.TOURNIQUET_NOTICED, Harm.NEAR_MISS, "Found in place at Sign Out and taken off."),
        *((burn, EventKind.SKIN_BURN, Harm.LOW, "Small burn of the fold, dressed.") for burn in burns),
        (faint, EventKind.VASOVAGAL, Harm.NONE, "Faint during the injection; lay down, came round at once."),
    ):
        operation.events.append(EventPlan(kind, harm, operation.performed_on, note, toe=operation.toes[0]))
    plan.burnt = [burn.toes[0] for burn in burns]


def finish(rng: random.Random, plan: Plan) -> None:
    """What changes a review, or adds one that no schedule knows."""
    by_toe = {id(toe): operation for operation in plan.operations for toe in operation.toes}
    owner = {number: by_toe[id(plan.rows[number][0])] for number in (2, 3, 5, 6, 19, 27)}
    _twelve(owner[2])["untreated_side"] = UntreatedSide.INGROWTH
    owner[3].reviews.append(_late_recurrence(rng, owner[3]))
    owner[5].reviews.append(_told_elsewhere(rng, owner[5]))
    owner[6].reviews.append(visit(rng, owner[6], TEN_MONTHS, "operator"))
    owner[19].reviews.insert(-1, _says_pain(rng, owner[19]))
    plan.photographs = plan.rows[27] = [_photograph(owner[27])]
    late = plan.rows[25][0].reviews[0]
    late.recorded_on = late.seen_on + timedelta(days=40)
    late.note = "Entered from the paper card."
    note_operation = next(o for o in plan.operations if o.source == "questionnaire" and o.fate == "clear")
    note_operation.reviews[-1].note = INJECTION
    plan.rows[24].append(note_operation.reviews[-1])
    for operation in plan.operations:
        if operation.toes[0] in plan.burnt:
            operation.reviews[0].toes[0][1]["skin_burn"] = Answer.YES
    for operation in plan.operations:
        operation.reviews.sort(key=lambda review: review.seen_on)


def _twelve(operation: OperationPlan) -> dict[str, object]:
    return operation.reviews[-1].toes[0][1]


def _photograph(operation: OperationPlan) -> PhotographPlan:
    toe = operation.toes[0]
    seen = next(review for review in operation.reviews if review.means == Means.IN_PERSON)
    # Not from the plan's own generator, or everything dealt after it would change.
    return PhotographPlan(toe, seen, key=mint(random.Random(toe.key)))


def _late_recurrence(rng: random.Random, operation: OperationPlan):
    toe = operation.toes[0]
    toe.regrowth = Regrowth(toe.sides[0].name, Extent.SPICULE, Symptoms.INGROWTH, Retreatment.CLIPPED)
    return visit(rng, operation, FOURTEEN_MONTHS, "operator", decides=True, origin=Origin.PATIENT)


def _told_elsewhere(rng: random.Random, operation: OperationPlan):
    review = visit(rng, operation, TOLD_ELSEWHERE_ON_DAY, "phone", origin=Origin.PATIENT)
    review.note = "Says that somebody else has operated on it again. Not reached since."
    for _, finding in review.sides:
        finding |= {
            "extent": Extent.NOT_ASSESSED,
            "symptoms": Symptoms.NOT_ASSESSED,
            "retreatment": Retreatment.ELSEWHERE,
        }
    return review


def _says_pain(rng: random.Random, operation: OperationPlan):
    """Nine days before the examination that finds nothing."""
    review = visit(rng, operation, operation.twelve_month_day - 9, "questionnaire")
    for _, finding in review.sides:
        finding |= {"extent": Extent.CANNOT_TELL, "symptoms": Symptoms.PAIN}
    for _, finding in review.toes:
        finding["pain"] = 5
    return review
