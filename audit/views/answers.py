"""From a question in an address to its answer: frames, figures, and the records behind every number."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from django.http import HttpRequest
from django.utils import timezone

from audit import cohort
from audit.forms import Question, QuestionForm, usual_answers
from audit.measures.definitions import Outcome, Status
from audit.periods import matured
from audit.templatetags.audit_status import why
from clinic.access.models import Practice
from clinic.vocabulary.procedure import Foot, NailSide
from clinic.vocabulary.terms import label_of

if TYPE_CHECKING:
    from audit.measures.columns import Cohort
    from audit.measures.strata import Count
    from audit.report.yearly import Yearly

TOES = {1: "1st toe (hallux)", 2: "2nd toe", 3: "3rd toe", 4: "4th toe", 5: "5th toe"}
SUMS = {
    "ascertained": (Status.EVENT, Status.CLEAR),
    "eligible": (Status.EVENT, Status.CLEAR, Status.LOST),
    "censored": (Status.CENSORED_DEATH, Status.CENSORED_REOPERATION),
}
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
    form = QuestionForm({**usual_answers(practice, today), **given}, today=today)
    form.is_valid()
    return form


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
    for part in yearly.follow_up.by_source:
        found[f"source/{part.code}", "ascertained"] = part.keys
    for part in yearly.follow_up.by_reason:
        found[f"reason/{part.code}", "lost"] = part.keys
    for standing, keys in yearly.infection.keys.items():
        found["infection", standing] = keys
    for flag in yearly.infection.flags:
        found[f"infection/{flag.flag.value}", "flagged"] = flag.keys
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
    """The units behind a number, in the order of operation. Infection is counted per toe whatever the unit."""
    from audit.measures.outcomes import side_states

    outcome = Outcome(answer.question.outcome)
    states = side_states(answer.cohort, outcome)
    column = "toe_key" if group.startswith("infection") else f"{answer.question.unit}_key"
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
    place = f"{label_of(Foot, side['foot'])}, {TOES[side['toe']]}, {label_of(NailSide, side['side']).lower()}"
    return SideRecord(side["toe_key"], place, state.status.label, why(outcome, state, side))
