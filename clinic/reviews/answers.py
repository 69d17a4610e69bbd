"""A review as the answers of its page: what may be filled in beforehand, and what was saved."""

from datetime import date
from typing import Any

from clinic.procedures.models import Operation
from clinic.reviews.models import GRAVE_FIELDS, MEASURED_FIELDS, OTHER_FIELDS, SIGN_FIELDS, Review
from clinic.reviews.questions import NONE_OF_THESE
from clinic.schedule import point_of
from clinic.vocabulary import review as words
from clinic.vocabulary.procedure import Answer


def first_answers(operation: Operation, *, by_key: int, today: date, booked: bool) -> dict[str, Any]:
    """Context that may be filled in beforehand: date, means, who. Never a finding."""
    day = (today - operation.performed_on).days
    answers: dict[str, Any] = {"visit-seen_on": today, "visit-next_step": words.NextStep.AS_PLANNED.value}
    if booked or point_of(day):
        answers["visit-origin"] = words.Origin.PLANNED.value
    answers["visit-means"] = words.Means.IN_PERSON.value
    same = operation.operator_id == by_key
    answers["visit-observer"] = (words.Observer.OPERATOR if same else words.Observer.COLLEAGUE).value
    return answers


def answers_of(review: Review) -> dict[str, Any]:
    """A saved review as the answers of the form, for correcting or undoing it."""
    answers: dict[str, Any] = {
        f"visit-{name}": getattr(review, name)
        for name in ("seen_on", "means", "origin", "observer", "next_step", "next_reason", "note")
    }
    for toe in review.toe_findings.all():
        answers |= {f"toe-{toe.nail_procedure.key}-{name}": value for name, value in _toe_answers(toe).items()}
    for side in review.side_findings.all():
        start = f"side-{side.treated_side.key}"
        answers |= {f"{start}-{name}": getattr(side, name) for name in ("extent", "symptoms", "retreatment")}
    return answers


def _toe_answers(toe) -> dict[str, Any]:
    plain = ("healing", "signs", "fluid_colour", "fluid_consistency", "fluid_amount", "erythema_mm", "swab")
    components = ("diagnosis", *SIGN_FIELDS, *GRAVE_FIELDS, *MEASURED_FIELDS)
    answers = {name: getattr(toe, name) for name in (*plain, "antibiotic", "satisfaction", *components)}
    if toe.signs != words.Signs.SOME:
        # The components were stored by rule, not answered; the open form must not show them as answers.
        answers |= dict.fromkeys((*plain[2:], *components))
    answers["pain"] = "not_asked" if toe.pain is None else str(toe.pain)
    others = [name for name in OTHER_FIELDS if getattr(toe, name) == Answer.YES]
    if toe.untreated_side == words.UntreatedSide.INGROWTH:
        others.append("untreated_ingrowth")
    not_looked = toe.over_granulation == Answer.NOT_ASSESSED
    answers["other"] = others or (["not_assessed"] if not_looked else [NONE_OF_THESE])
    return answers
