"""The operation page: one form for the attendance, one per toe, one to confirm what is unusual.

Nothing clinical is filled in. Answers that contradict each other are refused with their own sentence; unusual
ones are saved after a tick and a reason.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from django import forms

from clinic.access.answers import (
    ConfirmForm,
    CorrectionReasonForm,
    OnceForm,
    ReasonForm,
    choice,
    count_of,
    note_with,
    said,
    text_of,
    under,
)
from clinic.access.forms import Difference
from clinic.access.models import Member
from clinic.access.numbers import plain, say_day
from clinic.access.once import OneTimeForm
from clinic.practice.filling import AT_TOE, FromTemplate
from clinic.practice.models import OperationTemplate
from clinic.practice.notes import exposure_note
from clinic.practice.offers import not_used
from clinic.preparation.models import Consent
from clinic.procedures.answers import nails_in_order
from clinic.procedures.clearance import compared, usable
from clinic.procedures.fields import EACH, TIMED
from clinic.procedures.models import Operation, TreatedSide
from clinic.procedures.recording import OperationValues
from clinic.procedures.toe_form import ToeForm
from clinic.procedures.visit_form import VisitForm
from clinic.vocabulary import procedure as words
from clinic.vocabulary.sites import capital, part_name, site_name, toe_name

MOST_TOES = 4
SHORTEST_USUAL, LONGEST_USUAL = 10, 90
LEAST_USUAL_PHENOL = 10
TICK = "What came from the template holds: agent and strength are read from the container"
QUESTIONS = {"toe": "Toe", "side": "Part of the nail"}


class StrikeForm(ReasonForm):
    missing = "Give the reason for striking out this operation"


class DecideForm(OneTimeForm, forms.Form):
    """What was decided about a difference between consent and operation. `fact` is the sentence the page showed."""

    fact = forms.CharField(max_length=300, widget=forms.HiddenInput)
    outcome = choice("What was decided", words.SiteOutcome, "Choose what was decided")
    text = forms.CharField(
        label="Reason",
        max_length=500,
        error_messages={"required": "Give the reason", "max_length": "The reason may have at most 500 characters"},
    )
    use_required_attribute = False


class OperationEntry:
    """All forms of one operation page, cleaned together; `warnings` need a tick and a reason before saving.

    earlier: sides treated before at this patient, newest first, with their toe and operation fetched.
    operation: the one being corrected, with its toes fetched. consents: of the patient, those that stand.
    decided: by toe, the differences from a consent that somebody has decided about already.
    templates: of the practice, for a new operation.
    """

    def __init__(
        self,
        *,
        member: Member,
        born_on: date,
        today: date,
        earlier: Sequence[TreatedSide],
        data: Mapping[str, Any] | None = None,
        initial: Mapping[str, Any] | None = None,
        operation: Operation | None = None,
        consents: Sequence[Consent] = (),
        decided: Collection[tuple[int, str]] = (),
        templates: Sequence[OperationTemplate] = (),
    ) -> None:
        self.member, self.earlier, self.data, self.operation = member, earlier, data, operation
        self.initial = dict(initial or {})
        self.consents, self.decided = consents, decided
        empty = [None] * count_of(self.initial if data is None else data, MOST_TOES)
        nails = nails_in_order(operation) if operation else empty
        self.visit = VisitForm(
            data,
            prefix="visit",
            initial=under("visit", self.initial),
            member=member,
            born_on=born_on,
            today=today,
            operation=operation,
        )
        self.toes = [
            ToeForm(
                data,
                prefix=f"toe{number}",
                initial=under(f"toe{number}", self.initial),
                practice=member.practice,
                nail=nail,
            )
            for number, nail in enumerate(nails, start=1)
        ]
        self.templates = [each for each in templates if each.offered]
        self.started = self.started_from(templates)
        self.confirm = ConfirmForm(data, prefix="confirm", initial=under("confirm", self.initial))
        self.why = [CorrectionReasonForm(data)] if operation else []
        self.once = [] if operation else [OnceForm(data)]
        self.warnings: list[str] = []
        self.conflict = False

    def started_from(self, templates: Sequence[OperationTemplate]) -> FromTemplate:
        """The template named on the page, and what the toes of its technique still hold of it."""
        key = (self.initial if self.data is None else self.data).get("template-key")
        template = next((each for each in templates if each.key == key), None)
        same = [form for form in self.toes if template and form["technique"].value() == template.technique]
        return FromTemplate(
            template, self.member.practice, [(form, AT_TOE) for form in same], tick=TICK, data=self.data
        )

    def parts(self) -> list[forms.Form]:
        return [*self.once, self.visit, *self.toes, *self.why, self.started.form, self.confirm]

    @property
    def is_timed(self) -> bool:
        """Whether it goes on in the room, where the applications are tapped."""
        return any(form.cleaned_data.get("exposure") == TIMED for form in self.toes)

    @property
    def may_add(self) -> bool:
        return self.operation is None and len(self.toes) < MOST_TOES

    @property
    def reason_form(self) -> ReasonForm | None:
        return self.why[0] if self.why else None

    def is_valid(self) -> bool:
        valid = all([form.is_valid() for form in self.parts()])
        self.refuse_same_toe_twice()
        self.refuse_toe_of_that_day()
        self.compare_with_consent()
        self.started.settle()
        valid = valid and not any(form.errors for form in self.parts())
        if valid:
            self.warnings = list(dict.fromkeys(self.unusual()))
            valid = self.confirm.settles(self.warnings)
        return valid

    def errors(self) -> Iterator[tuple[str, str]]:
        """Pairs of the answer's id and the text, in the order of the page."""
        for form in self.parts() if self.data is not None else ():
            for bound in form:
                anchor = bound.id_for_label or f"{bound.auto_id}_0"
                yield from ((anchor, f"{self.number_of(form)}{text}") for text in bound.errors)

    def number_of(self, form: forms.Form) -> str:
        """Which toe a sentence is about, where there are several."""
        return f"Toe {self.toes.index(form) + 1}: " if form in self.toes and len(self.toes) > 1 else ""

    def differences(self, stored: Mapping[str, Any]) -> list[Difference]:
        """Where the typed answers are not the stored ones, in words."""
        return [
            Difference(self.question_of(form, bound), said(bound, before), said(bound, now))
            for form in [self.visit, *self.toes]
            for bound in form
            if (before := text_of(stored.get(bound.html_name))) != (now := text_of(bound.data))
        ]

    def question_of(self, form: forms.Form, bound: forms.BoundField) -> str:
        """The words of a question, with the number of the toe where there are several."""
        label = QUESTIONS.get(bound.name) or str(bound.label)
        if bound.name.startswith(("seconds_", "fibular_")):
            label = f"Application {bound.label}{', fibular side' if bound.name.startswith('f') else ''}"
        return f"{self.number_of(form)}{label}"

    def refuse_same_toe_twice(self) -> None:
        seen: set[str] = set()
        for form in self.toes:
            toe = form.cleaned_data.get("toe")
            if toe in seen:
                name = toe_name(*form.site)
                form.add_error("toe", f"The {name} is entered twice; put both sides into one entry")
            elif toe:
                seen.add(toe)

    def refuse_toe_of_that_day(self) -> None:
        day = self.visit.cleaned_data.get("performed_on")
        taken = {
            (treated.nail_procedure.foot, treated.nail_procedure.toe)
            for treated in self.earlier
            if treated.nail_procedure.operation.performed_on == day
        }
        for form in self.toes:
            if form.cleaned_data.get("toe") and form.site in taken:
                form.add_error(
                    "toe",
                    f"An operation on the {toe_name(*form.site)} on {say_day(day)} is already recorded; "
                    "open that one to correct it",
                )

    def compare_with_consent(self) -> None:
        """Where foot, toe, part or matrix are not what was consented to, a decision is asked for."""
        day = self.visit.cleaned_data.get("performed_on")
        treated = [
            (each.nail_procedure.foot, each.nail_procedure.toe, each.nail_procedure.operation.performed_on)
            for each in self.earlier
        ]
        consents = usable(self.consents, treated, day) if day else []
        for form in self.toes if consents else ():
            answers, destroys = form.cleaned_data, form.destroys_matrix
            if not answers.get("toe") or not answers.get("side") or destroys is None:
                continue
            _, found = compared(consents, *form.site, answers["side"], matrix_destroyed=destroys)
            stored = form.nail.pk if form.nail else 0
            form.ask_to_decide([each.sentence for each in found if (stored, each.sentence) not in self.decided])

    def taken_by_now(self, earlier: Sequence[TreatedSide]) -> bool:
        """The look again inside the transaction."""
        self.earlier = earlier
        self.refuse_toe_of_that_day()
        return any(form.errors for form in self.toes)

    def unusual(self) -> Iterator[str]:
        for form in self.toes:
            name = capital(toe_name(*form.site))
            yield from (f"{name}: {text}" for text in unusual_strength(form.cleaned_data))
            yield from (f"{name}: {text}" for text in self.not_used_here(form))
            for side, seconds in form.exposures().items():
                yield from (f"{name}, {part_name(side)}: {text}" for text in self.unusual_seconds(form, seconds))
            yield from (f"{name}, {text}" for text in self.contradicted(form))

    def unusual_seconds(self, form: ToeForm, seconds: tuple[int, ...]) -> Iterator[str]:
        if form.cleaned_data["exposure"] == EACH:
            for each in seconds:
                if not SHORTEST_USUAL <= each <= LONGEST_USUAL:
                    yield f"an application of {each} s is unusual ({SHORTEST_USUAL} to {LONGEST_USUAL} s is usual)"
        if seconds and (note := exposure_note(self.member.practice, sum(seconds))):
            yield note

    def not_used_here(self, form: ToeForm) -> list[str]:
        """An agent that the practice does not offer, unless it is on record already."""
        agent = form.cleaned_data["agent"]
        stored = form.nail.agent if form.nail else ""
        return not_used(self.member.practice, "agents_offered", {agent} - {stored})

    def contradicted(self, form: ToeForm) -> Iterator[str]:
        """Earlier surgery in our own record that the answer does not mention."""
        if form.cleaned_data["prior_surgery"] == words.Answer.YES:
            return
        day = self.visit.cleaned_data["performed_on"]
        before = [each for each in self.earlier if each.nail_procedure.operation.performed_on < day]
        for side, treated in form.revised(before).items():
            on = say_day(treated.nail_procedure.operation.performed_on)
            yield f"{part_name(side)}: our record holds an operation on {on}, but earlier surgery is not answered “Yes”"

    @property
    def confirm_reason(self) -> str:
        return self.confirm.reason_for(self.warnings)

    @property
    def reason(self) -> str:
        """For the history: why it is corrected, or why it is unusual."""
        return self.why[0].cleaned_data["reason"] if self.why else self.confirm_reason

    def values(self) -> OperationValues:
        visit = self.visit.cleaned_data
        fields = {name: visit[name] for name in ("performed_on", "operator", "consent_given_by")}
        fields["note"] = note_with(visit["note"], self.confirm_reason)
        if self.operation is None:
            fields["template"] = self.started.template
        before = [each for each in self.earlier if each.nail_procedure.operation.performed_on < visit["performed_on"]]
        return OperationValues(fields=fields, toes=tuple(form.values(before) for form in self.toes))

    def sites(self) -> str:
        """Foot, toe and part of every toe in words, for the sentence after saving."""
        return "; ".join(site_name(*form.site, form.cleaned_data["side"]) for form in self.toes)


def unusual_strength(answers: Mapping[str, Any]) -> Iterator[str]:
    strength = answers.get("strength_percent")
    if answers.get("agent") == words.Agent.PHENOL and strength is not None and strength < LEAST_USUAL_PHENOL:
        yield f"phenol of {plain(strength)}% is unusually weak"
