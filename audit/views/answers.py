"""From a question in an address to its answer: frames, figures, and the records behind every number."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from django.http import HttpRequest
from django.utils import timezone

from audit import cohort
from audit.forms import Question, QuestionForm, usual_answers
from audit.measures.definitions import CENSORED, Outcome, Status
from audit.periods import EARLIEST, matured
from audit.templatetags.audit_status import why
from clinic.access.models import Practice
from clinic.vocabulary.procedure import TOES, Foot, LocalInfection, NailSide
from clinic.vocabulary.review import Antibiotic, Diagnosis, FluidColour, FluidConsistency, Signs, Swab
from clinic.vocabulary.terms import label_of

if TYPE_CHECKING:
    from audit.measures.columns import Cohort
    from audit.measures.strata import Count
    from audit.report.yearly import Yearly

SUMS = {
    "ascertained": (Status.EVENT, Status.CLEAR),
    "eligible": (Status.EVENT, Status.CLEAR, Status.LOST),
    "censored": CENSORED,
}
# The rules of infection read no further.
LAST_DAY = 30
Numbers = dict[tuple[str, str], tuple[str, ...]]


@dataclass(frozen=True)
class Answer:
    """One question and everything counted for it."""

    question: Question
    cohort: "Cohort"
    yearly: "Yearly"

    @property
    def is_preliminary(self) -> bool:
        return not matured(self.question.period, self.question.as_of)


@dataclass(frozen=True)
class SideRecord:
    toe_key: str
    place: str
    status: str
    why: str


@dataclass(frozen=True)
class Record:
    """One unit behind a number: when it was operated on, and why it counts as it does."""

    key: str
    performed_on: date
    sides: tuple[SideRecord, ...]


def asked(request: HttpRequest) -> QuestionForm:
    """The form filled from the address; what the address leaves out is the usual question."""
    today = timezone.localdate()
    practice = request.user.practice  # type: ignore[union-attr]
    given = {name: value for name, value in request.GET.items() if name in QuestionForm.base_fields}
    usual = usual_answers(practice, _data_date(given.get("as_of", ""), today))
    form = QuestionForm({**usual, **given}, today=today)
    form.is_valid()
    return form


def _data_date(text: str, today: date) -> date:
    """The day by which the usual year must have matured; the form says what is wrong with any other text."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return today
    return day if EARLIEST <= day <= today else today


def answer_to(question: Question, practice: Practice) -> Answer:
    """Counts afresh from the records; nothing is kept, so nothing can be out of date."""
    from audit.report import yearly

    period = question.period
    frames = cohort.build(
        practice,
        performed_from=period.performed_from,
        performed_to=period.performed_to,
        as_of=question.as_of,
    )
    frames = replace(frames, bands=question.bands)
    standard = cohort.standard_of(practice, question.outcome)
    figures = yearly.build(frames, unit=question.unit, outcome=question.outcome, standard=standard)
    return Answer(question, frames, figures)


def numbers(yearly: "Yearly") -> Numbers:
    """The keys behind every number that is printed, by group and status as they stand in an address."""
    found: Numbers = {}
    for group, count in counted(yearly):
        found.update({(group, status): keys for status, keys in count.keys.items()})
        for name, parts in SUMS.items():
            found[group, name] = tuple(key for part in parts for key in count.keys.get(part.value, ()))
    found.update(_followed_up(yearly))
    for standing, keys in yearly.infection.keys.items():
        found["infection", standing] = keys
    for flag in yearly.infection.flags:
        found[f"infection/{flag.flag.value}", "flagged"] = flag.keys
    return found


def _followed_up(yearly: "Yearly") -> Numbers:
    """Known and lost as the follow-up card divides them."""
    parts = yearly.follow_up
    found = {(f"source/{part.code}", "ascertained"): part.keys for part in parts.by_source}
    found |= {(f"reason/{part.code}", "lost"): part.keys for part in parts.by_reason}
    known = tuple(key for part in parts.by_source for key in part.keys)
    lost = tuple(key for part in parts.by_reason for key in part.keys)
    seen = {key for status in SUMS["ascertained"] for key in parts.examined.keys[status.value]}
    found["follow_up", "ascertained"], found["follow_up", "lost"] = known, lost
    found["follow_up", "eligible"] = known + lost
    found["follow_up", "reported"] = tuple(key for key in known if key not in seen)
    return found


def counted(yearly: "Yearly") -> Iterator[tuple[str, "Count"]]:
    """Every count with the name its records have in an address."""
    yield "headline", yearly.headline
    yield "no_matricectomy", yearly.no_matricectomy
    yield "examined", yearly.follow_up.examined
    for table in yearly.tables:
        for row in table.rows:
            yield f"{table.code}/{row.code}", row


def records(answer: Answer, group: str, keys: Sequence[str]) -> list[Record]:
    """The units behind a number, in the order of operation. Infection is counted per toe whatever the unit is."""
    from audit.measures.outcomes import side_states

    if group.startswith("infection"):
        return infection_records(answer.cohort, keys)
    outcome = Outcome(answer.question.outcome)
    states = side_states(answer.cohort, outcome)
    column = f"{answer.question.unit}_key"
    by_unit: dict[str, list[Mapping[Any, Any]]] = {key: [] for key in keys}
    for side in answer.cohort.sides.to_dict("records"):
        if side[column] in by_unit:
            by_unit[side[column]].append(side)
    kept = {key: _of_one_kind(sides, group, column) for key, sides in by_unit.items()}
    found = [_record(key, sides, states, outcome) for key, sides in kept.items()]
    return sorted(found, key=lambda record: (record.performed_on, record.key))


def _of_one_kind(sides: list[Mapping[Any, Any]], group: str, column: str) -> list[Mapping[Any, Any]]:
    """A patient may have sides with and without matricectomy; they are never counted together."""
    if column != "patient_key":
        return sides
    wanted = not group.endswith("no_matricectomy")
    return [side for side in sides if side["matrix_destroyed"] == wanted] or sides


def _record(key: str, sides: list[Mapping[Any, Any]], states: Mapping[str, Any], outcome: Outcome) -> Record:
    lines = tuple(_side_record(side, states[side["side_key"]], outcome) for side in sides)
    return Record(key, min(side["performed_on"] for side in sides).date(), lines)


def _side_record(side: Mapping[Any, Any], state: Any, outcome: Outcome) -> SideRecord:
    place = f"{_toe(side)}, {label_of(NailSide, side['side']).lower()}"
    return SideRecord(side["toe_key"], place, state.status.label, why(outcome, state, side))


def _toe(side: Mapping[Any, Any]) -> str:
    return f"{label_of(Foot, side['foot'])}, {TOES[side['toe']]}"


def infection_records(frames: "Cohort", keys: Sequence[str]) -> list[Record]:
    """Toes with what each review of the first 30 days noted, because the rules read the components."""
    seen: dict[str, list[str]] = {key: [] for key in keys}
    for finding in frames.toe_findings.sort_values("day").to_dict("records"):
        if finding["toe_key"] in seen and finding["day"] <= LAST_DAY:
            seen[finding["toe_key"]].append(wound_words(finding))
    toes = frames.sides.drop_duplicates("toe_key").to_dict("records")
    found = [_infection_record(toe, seen[toe["toe_key"]]) for toe in toes if toe["toe_key"] in seen]
    return sorted(found, key=lambda record: (record.performed_on, record.key))


def _infection_record(toe: Mapping[Any, Any], seen: list[str]) -> Record:
    before = f"at operation: {label_of(LocalInfection, toe['infection_at_operation']).lower()}"
    words = ". ".join(seen) or "no contact on record"
    return Record(toe["toe_key"], toe["performed_on"].date(), (SideRecord(toe["toe_key"], _toe(toe), before, words),))


def wound_words(finding: Mapping[Any, Any]) -> str:
    """What one review noted of the signs of infection. finding: a row of the cohort's toe findings."""
    fluid = (
        f"{label_of(FluidColour, finding['fluid_colour'])}, {label_of(FluidConsistency, finding['fluid_consistency'])}"
    )
    antibiotic = label_of(Antibiotic, finding["antibiotic"])
    parts = (
        label_of(Signs, finding["signs"]).lower(),
        "no wound fluid" if finding["fluid_colour"] == FluidColour.NONE else f"wound fluid: {fluid.lower()}",
        "no antibiotic" if finding["antibiotic"] == Antibiotic.NONE else f"antibiotic: {antibiotic}",
        f"swab: {label_of(Swab, finding['swab']).lower()}",
        f"clinician: {label_of(Diagnosis, finding['diagnosis']).lower()}",
    )
    return f"day {finding['day']}: " + "; ".join(parts)
