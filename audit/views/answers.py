"""From a question in an address to its answer: stored or freshly counted figures, as plain values."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.http import HttpRequest
from django.utils import timezone

from audit.forms import Question, QuestionForm, usual_answers
from audit.periods import EARLIEST, matured
from audit.records import read_material, read_years, standard_for, standards_of
from audit.stored import Shelf
from clinic.access.models import Practice

Plain = dict[str, Any]


@dataclass(frozen=True)
class Answer:
    """One question with its figures. piece: of the outcome asked for, as `report.pieces` makes it."""

    question: Question
    piece: Plain

    @property
    def is_preliminary(self) -> bool:
        return not matured(self.question.period, self.question.as_of)

    @property
    def is_empty(self) -> bool:
        return not self.piece["flow"]["sides"]


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


def answer_to(question: Question, practice: Practice, *, now: datetime) -> Answer:
    """The figures of the outcome asked for; kept ready, and counted afresh when any record changed."""
    standard = standard_for(standards_of(practice), question.outcome)
    return Answer(question, outcome_figures(question, standard, Shelf(practice, now)))


def outcome_asked(question: Question, standard: float | None, practice: Practice) -> Plain:
    """What decides the figures of an outcome. standard: the highest accepted rate, a proportion, or None."""
    return {"kind": "outcome", **question.query, "standard": standard, "starts": practice.audit_year_starts_month}


def outcome_figures(question: Question, standard: float | None, shelf: Shelf) -> Plain:
    practice, period = shelf.practice, question.period

    def count() -> Plain:
        from dataclasses import replace

        from audit.measures.material import within
        from audit.report.pieces import outcome_piece

        years = replace(read_years(practice, period, as_of=question.as_of), bands=question.bands)
        return outcome_piece(
            within(years, period.performed_from, period.performed_to), years, outcome=question.outcome,
            unit=question.unit, standard=standard, starts_month=practice.audit_year_starts_month,
        )  # fmt: skip

    return shelf.figures(outcome_asked(question, standard, practice), count)


def common_asked(question: Question) -> Plain:
    """What decides the figures that all outcomes share."""
    return {"kind": "common", **{name: question.query[name] for name in ("performed_from", "performed_to", "as_of")}}


def common_figures(question: Question, shelf: Shelf) -> Plain:
    """What all outcomes share: infection, healing, pain, visits, events, process."""

    def count() -> Plain:
        from audit.report.pieces import common_piece

        return common_piece(read_material(shelf.practice, question.period, as_of=question.as_of))

    return shelf.figures(common_asked(question), count)
