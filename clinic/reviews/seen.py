"""Reviews as the schedule reads them: the day, and what they left unanswered. Asked for in the query of the reviews."""

from collections.abc import Iterable

from django.db.models import Exists, OuterRef, Q, QuerySet

from clinic.procedures.models import NailProcedure, TreatedSide
from clinic.reviews.models import Review, SideFinding, ToeFinding
from clinic.reviews.recording import Findings
from clinic.schedule import Seen
from clinic.vocabulary.review import Extent, Healing, Observer, PainState, Signs, Symptoms
from clinic.vocabulary.schedule import Item

# A look that could not tell leaves the audit's question open; that the toe heals or not is answered by any look.
OPEN_EXTENT = (Extent.NOT_ASSESSED.value, Extent.CANNOT_TELL.value)
OPEN_SYMPTOMS = (Symptoms.NOT_ASSESSED.value, Symptoms.CANNOT_TELL.value)
PREFIX = "lacks_"


def with_gaps(reviews: QuerySet[Review] | None = None) -> QuerySet[Review]:
    """The reviews with a mark for each item that some toe or side still there was not answered for."""
    rows = Review.objects.all() if reviews is None else reviews
    gaps = {
        Item.HEALING: _toe_lacks(~Q(healing=Healing.NOT_ASSESSED)),
        Item.SIGNS: _toe_lacks(~Q(signs=Signs.NOT_ASSESSED)),
        Item.PAIN: _toe_lacks(Q(pain_state=PainState.SCORED)),
        Item.REGROWTH: _side_lacks(~Q(extent__in=OPEN_EXTENT), nail_procedure__matrix_destroyed=True),
        Item.SYMPTOMS: _side_lacks(~Q(symptoms__in=OPEN_SYMPTOMS)),
    }
    return rows.annotate(**{f"{PREFIX}{item.value}": gap for item, gap in gaps.items()})


def _toe_lacks(answered: Q) -> Exists:
    own = ToeFinding.objects.filter(answered, review=OuterRef(OuterRef("pk")), nail_procedure=OuterRef("pk"))
    toes = NailProcedure.objects.filter(operation=OuterRef("operation_id"), amputated_on__isnull=True)
    return Exists(toes.filter(~Exists(own)))


def _side_lacks(answered: Q, **kind: object) -> Exists:
    own = SideFinding.objects.filter(answered, review=OuterRef(OuterRef("pk")), treated_side=OuterRef("pk"))
    there = {"nail_procedure__operation": OuterRef("operation_id"), "nail_procedure__amputated_on__isnull": True}
    return Exists(TreatedSide.objects.filter(~Exists(own), **there, **kind))


def just_seen(review: Review, findings: Findings) -> Seen:
    """A review as it was saved a moment ago, without asking the database for what is in hand."""
    toes, sides = list(findings.toes.values()), list(findings.sides.items())
    open_items = {
        Item.HEALING: any(toe["healing"] == Healing.NOT_ASSESSED for toe in toes),
        Item.SIGNS: any(toe["signs"] == Signs.NOT_ASSESSED for toe in toes),
        Item.PAIN: any(toe["pain_state"] != PainState.SCORED for toe in toes),
        Item.REGROWTH: any(
            found["extent"] in OPEN_EXTENT for side, found in sides if side.nail_procedure.matrix_destroyed
        ),
        Item.SYMPTOMS: any(found["symptoms"] in OPEN_SYMPTOMS for _, found in sides),
    }
    return Seen(review.day, frozenset(item.value for item, is_open in open_items.items() if is_open))


def seen_of(reviews: Iterable[Review]) -> list[Seen]:
    """Reviews that count as the schedule reads them. Without `with_gaps` they are taken as complete."""
    return [Seen(review.day, _lacks(review)) for review in reviews if is_counting(review)]


def _lacks(review: Review) -> frozenset[str]:
    return frozenset(item.value for item in Item if getattr(review, f"{PREFIX}{item.value}", False))


def is_counting(review: Review) -> bool:
    """Whether a fetched review stands and, if the patient reported it, was accepted."""
    return not review.struck_at and bool(review.observer != Observer.PATIENT or review.accepted_at)
