"""The toe's story: planned windows, visits, pain, and what each visit found. Rows arrive fetched."""

from dataclasses import dataclass
from datetime import date, timedelta

from clinic.procedures.models import NailProcedure
from clinic.reviews.models import Review
from clinic.reviews.seen import is_counting, seen_of
from clinic.reviews.sentences import HealedBetween, healed_between, how_seen, side_sentence, toe_sentence
from clinic.schedule import SCHEDULE, ReviewPoint, Schedule, Seen, next_point, point_of, state_of
from clinic.vocabulary.review import Extent, NextStep, Observer, Symptoms


def clinic_ended(reviews: list[Review]) -> bool:
    """Whether the latest of these reviews ended clinic reviews; the 12-month contact stays planned all the same."""
    latest = max(reviews, key=lambda review: (review.seen_on, review.pk), default=None)
    return latest is not None and latest.next_step == NextStep.END_CLINIC


@dataclass(frozen=True)
class Entry:
    """One line of the timeline."""

    day: int
    on: date
    kind: str  # planned, visit, report, surgery, struck
    title: str
    text: str
    review: Review | None = None
    planned: ReviewPoint | None = None


@dataclass(frozen=True)
class Story:
    entries: list[Entry]
    healed: HealedBetween | None
    tags: list[tuple[str, str]]
    points: list[tuple[int, str]]
    pain: list[tuple[int, int]]
    windows: list[tuple[int, int, str]]


def story_of(nail: NailProcedure, reviews: list[Review], *, today: date, schedule: Schedule = SCHEDULE) -> Story:
    """reviews: all of the operation, struck-out ones too, with toe and side findings fetched; newest entry first."""
    performed_on = nail.operation.performed_on
    standing = [review for review in reviews if not review.struck_at]
    counting = [review for review in standing if is_counting(review)]
    seen = seen_of(counting)
    entries = [_visit(review, nail, schedule) for review in reviews]
    upcoming = next_point(
        performed_on=performed_on, seen=seen, today=today, clinic_ended=clinic_ended(counting), schedule=schedule
    )
    if upcoming and not nail.amputated_on:
        entries.append(_planned(upcoming, performed_on, today))
    if nail.amputated_on:
        entries.append(_amputation(nail))
    entries.append(_surgery(nail))
    entries.sort(key=lambda entry: (entry.day, entry.kind != "surgery"), reverse=True)
    toe_rows = [
        (review, toe) for review in counting for toe in review.toe_findings.all() if toe.nail_procedure_id == nail.pk
    ]
    healed = healed_between([(review.day, toe.healing) for review, toe in toe_rows])
    pain = sorted((review.day, toe.pain) for review, toe in toe_rows if toe.pain is not None)
    return Story(
        entries=entries,
        healed=healed,
        tags=_tags(nail, counting, healed),
        points=_points(standing, nail, seen, today, schedule),
        pain=pain,
        windows=[(point.opens_day, point.closes_day, point.name) for point in schedule],
    )


def _visit(review: Review, nail: NailProcedure, schedule: Schedule) -> Entry:
    point = point_of(review.day, schedule)
    name = point.name if point else "Extra review"
    toe = next((t for t in review.toe_findings.all() if t.nail_procedure_id == nail.pk), None)
    sides = {treated.pk: treated.side for treated in nail.treated_sides.all()}
    lines = [toe_sentence(toe)] if toe else ["No finding for this toe."]
    lines += [
        side_sentence(finding, sides[finding.treated_side_id])
        for finding in review.side_findings.all()
        if finding.treated_side_id in sides
    ]
    kind = "struck" if review.struck_at else "report" if review.observer == Observer.PATIENT else "visit"
    return Entry(review.day, review.seen_on, kind, f"{name}, {how_seen(review)}", " ".join(lines), review=review)


def _planned(point: ReviewPoint, performed_on: date, today: date) -> Entry:
    target = point.target_on(performed_on)
    opens, closes = point.opens_on(performed_on), point.closes_on(performed_on)
    late = "Past its target. " if today > target else ""
    text = f"{late}Window {opens.day} {opens:%b %Y} to {closes.day} {closes:%b %Y}."
    return Entry((target - performed_on).days, target, "planned", f"{point.name} is next", text, planned=point)


def _amputation(nail: NailProcedure) -> Entry:
    day = (nail.amputated_on - nail.operation.performed_on).days
    return Entry(day, nail.amputated_on, "amputation", "Toe amputated", "Its sides are counted apart from this day on.")


def _surgery(nail: NailProcedure) -> Entry:
    operation = nail.operation
    text = f"{exposure_sentence(nail)} Operator {operation.operator}."
    return Entry(0, operation.performed_on, "surgery", nail.get_technique_display(), text)


def exposure_sentence(nail: NailProcedure) -> str:
    """'Phenol 80.0 % w/w: tibial (medial) side 3 × 60 s.'"""
    if nail.agent == "none":
        return "No chemical agent."
    parts = []
    for treated in nail.treated_sides.all():
        seconds = [application.seconds for application in treated.applications.all()]
        if seconds and len(set(seconds)) == 1:
            said = f"{len(seconds)} × {seconds[0]} s"
        elif seconds:
            said = " + ".join(f"{each} s" for each in seconds)
        elif treated.stated_exposure_seconds:
            said = f"{treated.stated_exposure_seconds} s in all, applications not recorded"
        else:
            said = "exposure not recorded"
        label = treated.get_side_display()
        parts.append(f"{label[0].lower()}{label[1:]} {said}")
    basis = (
        "" if nail.strength_basis in {"not_recorded", "not_applicable"} else f" {nail.get_strength_basis_display()[2:]}"
    )
    strength = f" {nail.strength_percent} %{basis}" if nail.strength_percent else ", strength not recorded"
    return f"{nail.get_agent_display()}{strength}: {'; '.join(parts)}."


def _tags(nail: NailProcedure, reviews: list[Review], healed: HealedBetween | None) -> list[tuple[str, str]]:
    tags = [("ok", healed.sentence)] if healed else []
    if nail.amputated_on:
        tags.append(("care", f"Toe amputated {nail.amputated_on.day} {nail.amputated_on:%b %Y}"))
    sides = {treated.pk for treated in nail.treated_sides.all()}
    rows = [finding for review in reviews for finding in review.side_findings.all() if finding.treated_side_id in sides]
    if nail.matrix_destroyed and any(Extent(row.extent).regrown for row in rows):
        troubled = {Symptoms.PAIN, Symptoms.INGROWTH, Symptoms.INFECTED}
        ailing = any(Extent(row.extent).regrown and row.symptoms in troubled for row in rows)
        tags.append(("care", "Regrowth seen, with symptoms" if ailing else "Regrowth seen, no symptoms"))
    return tags


def _points(
    reviews: list[Review], nail: NailProcedure, seen: list[Seen], today: date, schedule: Schedule
) -> list[tuple[int, str]]:
    performed_on = nail.operation.performed_on
    points = [(0, "surgery")]
    points += [(review.day, "report" if review.observer == Observer.PATIENT else "visit") for review in reviews]
    for point in () if nail.amputated_on else schedule:
        if state_of(point, performed_on=performed_on, seen=seen, today=today).is_open:
            points.append(((point.target_on(performed_on) - performed_on).days, "planned"))
    return sorted(points)


def window_words(point: ReviewPoint, performed_on: date) -> str:
    """'13 Apr 2027 (12 Mar to 15 May)'."""
    target = point.target_on(performed_on)
    opens = performed_on + timedelta(days=point.opens_day)
    closes = performed_on + timedelta(days=point.closes_day)
    return f"{target.day} {target:%b %Y} ({opens.day} {opens:%b} to {closes.day} {closes:%b})"
