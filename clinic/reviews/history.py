"""Every version of a review and its findings, as a list people can read."""

from clinic.access.models import Member
from clinic.patients.changes import Step, newest_first, steps_of
from clinic.procedures.history import versions
from clinic.reviews.models import Review, SideFinding, ToeFinding
from clinic.reviews.sentences import OTHER_WORDS, SIGN_WORDS
from clinic.vocabulary.sites import capital, part_name, toe_name

REVIEW_LABELS = {
    "seen_on": "date of the review",
    "origin": "how it came about",
    "observer": "who looked",
    "seen_by_name": "seen by",
    "means": "by what means",
    "next_step": "next step",
    "next_reason": "reason for ending clinic reviews",
    "note": "note",
    "accepted_at": "accepted",
    "struck_reason": "struck out",
}
TOE_LABELS = {
    "healing": "healing",
    "signs": "signs of infection",
    **SIGN_WORDS,
    "fluid_colour": "colour of the wound fluid",
    "fluid_consistency": "consistency of the wound fluid",
    "fluid_amount": "amount of the wound fluid",
    "erythema_mm": "redness in mm",
    "temperature_c": "temperature in °C",
    "pulse": "pulse",
    "respiratory_rate": "breathing rate",
    "swab": "swab",
    "antibiotic": "antibiotic",
    "diagnosis": "what the clinician called it",
    "pain_state": "pain",
    "pain": "pain, 0 to 10",
    **OTHER_WORDS,
    "untreated_side": "untreated side",
    "satisfaction": "satisfaction",
}
SIDE_LABELS = {"extent": "regrowth", "symptoms": "symptoms", "retreatment": "what was done"}


def history_of(review: Review) -> list[Step]:
    """Newest first. review: its findings fetched with their toes and sides. Four queries, however many versions."""
    toe_of = {row.nail_procedure_id: _site(row.nail_procedure) for row in review.toe_findings.all()}
    side_of = {
        row.treated_side_id: f"{_site(row.treated_side.nail_procedure)}, {part_name(row.treated_side.side)}"
        for row in review.side_findings.all()
    }
    reviews = versions(Review, id=review.pk)
    people = Member.objects.in_bulk({version.seen_by_id for version in reviews} - {None})
    for version in reviews:
        version.seen_by_name = str(people[version.seen_by_id]) if version.seen_by_id else ""
    toes, sides = versions(ToeFinding, review_id=review.pk), versions(SideFinding, review_id=review.pk)
    return newest_first(
        [
            *steps_of(reviews, REVIEW_LABELS),
            *steps_of(toes, TOE_LABELS, subject=lambda row: toe_of.get(row.nail_procedure_id, "")),
            *steps_of(sides, SIDE_LABELS, subject=lambda row: side_of.get(row.treated_side_id, "")),
        ]
    )


def _site(nail) -> str:
    return capital(toe_name(nail.foot, nail.toe))
