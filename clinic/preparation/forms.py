"""The assessment page as a whole: its parts cleaned together, and what is asked about a flag."""

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from django import forms
from django.http import QueryDict

from clinic.access import answers as asked
from clinic.access.answers import ConfirmForm, OnceForm, ReasonForm, VersionForm, note_with, said, text_of, under
from clinic.access.forms import Difference
from clinic.access.models import Member
from clinic.access.numbers import DayField, plain, say_day
from clinic.access.once import OneTimeForm
from clinic.patients.models import Patient
from clinic.preparation.clearance import lines_of
from clinic.preparation.flags import Flag
from clinic.preparation.health import SOME, AllergyForm, HealthForm
from clinic.preparation.models import Assessment, AssessmentItem
from clinic.preparation.questions import AttendanceForm, BodyForm, FootForm, Part, Subject, ToeForm, WhyForm
from clinic.preparation.recording import AssessmentValues
from clinic.vocabulary import preparation as words
from clinic.vocabulary.procedure import Answer, Foot
from clinic.vocabulary.sites import toe_name

MOST_TOES = 4
MADE_BY_BUTTONS = {"leave", "start_again", "add_toe", "remove_toe"}
TICKS = {
    "why-further": words.Topic.INDICATION,
    "why-tried": words.Topic.CONSERVATIVE,
    "why-considered": words.Topic.LOOK_ALIKE,
    "health-antithrombotic": words.Topic.ANTITHROMBOTIC,
    "health-condition": words.Topic.CONDITION,
}


class ChangeReasonForm(ReasonForm):
    asked, missing = "Reason for the change", "Give the reason for the change"


class AssessmentEntry:
    """All forms of the assessment page; `warnings` need a tick and a reason before saving.

    patient: with the identity fetched. assessment: the one that is changed, with its parts fetched.
    """

    def __init__(
        self,
        *,
        member: Member,
        patient: Patient,
        today: date,
        data: QueryDict | None = None,
        initial: Mapping[str, Any] | None = None,
        assessment: Assessment | None = None,
    ) -> None:
        self.data, self.assessment, self.initial = data, assessment, dict(initial or {})
        self.subject = Subject.of(patient, today)
        stored = assessment.assessed_by if assessment else None
        self.visit = self._part(AttendanceForm, "visit", member=member, stored=stored)
        self.why = self._part(WhyForm, "why")
        self.feet = [self._part(FootForm, foot.value, foot=foot.value) for foot in Foot]
        self.health = self._part(HealthForm, "health")
        self.allergy = self._part(AllergyForm, "allergy")
        self.body = self._part(BodyForm, "body")
        count = asked.count_of(self.initial if data is None else data, MOST_TOES)
        self.toes = [self._part(ToeForm, f"toe{number}") for number in range(1, count + 1)]
        self.confirm = ConfirmForm(data, prefix="confirm", initial=under("confirm", self.initial))
        self.once = None if assessment else OnceForm(data)
        self.version = VersionForm(data, version=self.initial.get("version", 1)) if assessment else None
        self.reason_form = ChangeReasonForm(data, initial=self.initial) if assessment else None
        self.warnings: list[str] = []

    def _part(self, kind: type[Part], prefix: str, **options: Any) -> Any:
        return kind(self.data, prefix=prefix, initial=under(prefix, self.initial), subject=self.subject, **options)

    def questions(self) -> list[Part]:
        """In the order of the page."""
        return [self.visit, *self.toes, self.why, *self.feet, self.health, self.allergy, self.body]

    def parts(self) -> list[forms.Form]:
        others = [self.once, self.version, self.reason_form, self.confirm]
        return [*self.questions(), *(form for form in others if form)]

    @property
    def may_add(self) -> bool:
        return len(self.toes) < MOST_TOES

    def is_valid(self) -> bool:
        valid = all([form.is_valid() for form in self.parts()])
        self._refuse_same_toe_twice()
        self._refuse_later_results()
        valid = valid and not any(form.errors for form in self.parts())
        if valid:
            self.warnings = [text for form in self.questions() for text in form.unusual()]
            valid = self.confirm.settles(self.warnings)
        return valid

    def _refuse_same_toe_twice(self) -> None:
        seen: set[str] = set()
        for form in self.toes:
            toe = form.cleaned_data.get("toe")
            if toe in seen:
                form.add_error("toe", f"The {toe_name(*form.site)} is entered twice; take one away")
            elif toe:
                seen.add(toe)

    def _refuse_later_results(self) -> None:
        day = self.visit.cleaned_data.get("assessed_on")
        for form in self.questions() if day else ():
            for name, what in form.result_days():
                taken_on = form.cleaned_data.get(name)
                if taken_on and taken_on > day:
                    form.add_error(name, f"{what} dated after the assessment ({say_day(day)}); check both")

    def errors(self) -> Iterator[tuple[str, str]]:
        """Pairs of the answer's id and the text, in the order of the page."""
        for form in self.parts() if self.data is not None else ():
            for bound in form:
                anchor = bound.id_for_label or f"{bound.auto_id}_0"
                yield from ((anchor, f"{self._place(form)}{text}") for text in bound.errors)

    def _place(self, form: forms.Form) -> str:
        """Which foot or toe a sentence is about."""
        if isinstance(form, FootForm):
            return f"{form.name}: "
        return f"Toe {self.toes.index(form) + 1}: " if form in self.toes and len(self.toes) > 1 else ""

    def differences(self, stored: Mapping[str, Any]) -> list[Difference]:
        """Where the typed answers are not the stored ones, in words."""
        return [
            Difference(f"{self._place(form)}{bound.label}", said(bound, before), said(bound, now))
            for form in self.questions()
            for bound in form
            if (before := text_of(stored.get(bound.html_name))) != (now := text_of(bound.data))
        ]

    @property
    def reason(self) -> str:
        """For the history: why it is changed, or why it is unusual."""
        return self.reason_form.cleaned_data["reason"] if self.reason_form else self.confirm.reason_for(self.warnings)

    def values(self) -> AssessmentValues:
        why, visit = self.why.values(), self.visit.values()
        ticks = {name: why.pop(name) for name in ("further", "tried", "considered")}
        ticks |= {name: self.health.cleaned_data[name] for name in ("antithrombotic", "condition")}
        lines = {
            (topic.value, code): (answer, "")
            for name, topic in TICKS.items()
            for code, answer in ticks[name.partition("-")[2]].items()
        }
        own = visit | why | self.health.values() | self.allergy.values() | self.body.values()
        return AssessmentValues(
            fields=own | {"note": note_with(visit["note"], self.confirm.reason_for(self.warnings))},
            feet={form.foot: form.values() for form in self.feet},
            toes={form.site: form.values() for form in self.toes},
            lines=lines | self.allergy.lines(),
        )


def typed_answers(posted: QueryDict) -> dict[str, Any]:
    """What was posted, several ticks as a list, without the buttons."""
    answers = {name: values[0] if len(values) == 1 else values for name, values in posted.lists()}
    return {name: value for name, value in answers.items() if name not in MADE_BY_BUTTONS}


def with_other_toes(posted: QueryDict) -> dict[str, Any]:
    """Everything typed, with one toe more or one less; the toes behind it move up."""
    answers = typed_answers(posted)
    if posted.get("add_toe"):
        count = asked.count_of(answers, MOST_TOES)
        return answers | {"toes": str(min(count + 1, MOST_TOES))}
    number = posted.get("remove_toe", "")
    return asked.without_toe(answers, int(number) if number in {"1", "2", "3", "4"} else 0, MOST_TOES)


# --- a stored assessment as answers


def answers_of(assessment: Assessment, today: date) -> dict[str, Any]:
    """A saved assessment as the answers of the page; its parts are fetched."""
    toes = list(assessment.toes.all())
    answers: dict[str, Any] = {"toes": str(len(toes)), "version": assessment.version}
    answers |= {
        "visit-assessed_on": assessment.assessed_on.isoformat(),
        "visit-assessed_by": assessment.assessed_by.key,
        "visit-note": assessment.note,
    }
    columns = {
        "why": ("indication", "indication_other", "symptoms_weeks"),
        "health": (
            "diabetes", "foot_risk", "hba1c", "hba1c_unit", "hba1c_on", "inr", "inr_on", "immunosuppression",
            "pregnancy", "breastfeeding", "tobacco",
        ),
        "allergy": ("allergy_words",),
        "body": ("weight_kg", "weight_basis", "weight_on"),
    }  # fmt: skip
    for prefix, names in columns.items():
        answers |= {f"{prefix}-{name}": shown(getattr(assessment, name)) for name in names}
    if assessment.foot_risk == words.FootRisk.NOT_APPLICABLE:  # follows from there being no diabetes
        answers["health-foot_risk"] = ""
    for form_field, topic in TICKS.items():
        answers[form_field] = ticks_of(form_field, lines_of(assessment, topic))
    answers |= allergy_answers([item for item in assessment.items.all() if item.topic == words.Topic.ALLERGY])
    for foot in assessment.feet.all():
        names = (*FootForm.base_fields,)
        answers |= {f"{foot.foot}-{name}": shown(getattr(foot, name)) for name in names}
    for number, toe in enumerate(toes, start=1):
        names = (name for name in ToeForm.base_fields if name != "toe")
        answers |= {f"toe{number}-{name}": shown(getattr(toe, name)) for name in names}
        answers[f"toe{number}-toe"] = f"{toe.foot}-{toe.toe}"
    if assessment.weight_kg is None:
        answers["body-weight_on"] = today.isoformat()
    return answers


def shown(value: Any) -> str:
    """A stored value as the page posts it; what is not recorded is an open question again."""
    if value is None or value == Answer.NOT_RECORDED:
        return ""
    return value.isoformat() if isinstance(value, date) else plain(value)


def ticks_of(form_field: str, answers: Mapping[str, str]) -> list[str]:
    prefix, _, name = form_field.partition("-")
    form = WhyForm if prefix == "why" else HealthForm
    return form.base_fields[name].ticks_of(answers)


def allergy_answers(items: list[AssessmentItem]) -> dict[str, Any]:
    present = {f"allergy-to_{item.code}": item.reaction for item in items if item.answer == Answer.YES}
    answers = {item.answer for item in items}
    known = SOME if present else "none" if answers == {Answer.NO.value} else ""
    if answers == {Answer.NOT_ASSESSED.value}:
        known = Answer.NOT_ASSESSED.value
    return {"allergy-allergies": known, **present}


# --- flags


class DecideForm(OneTimeForm, forms.Form):
    """A reason for a caution; for a stop also what was decided. `fact` is the sentence the page showed."""

    code = forms.CharField(max_length=40, widget=forms.HiddenInput)
    fact = forms.CharField(max_length=300, widget=forms.HiddenInput)
    on = DayField(label_for_errors="the day of the operation", may_be_future=True, widget=forms.HiddenInput)
    outcome = asked.choice(
        "Decision",
        words.DecisionOutcome,
        "Choose what was decided",
        without=(words.DecisionOutcome.ACKNOWLEDGED,),
        columns=2,
    )
    text = forms.CharField(
        label="Reason",
        max_length=500,
        error_messages={"required": "Give the reason", "max_length": "The reason may have at most 500 characters"},
    )

    def __init__(self, *args, flag: Flag, on: date, **kwargs) -> None:
        hidden = {"code": flag.code, "fact": flag.fact, "on": on.isoformat()}
        # The page holds a form for every open flag, so each has ids of its own.
        super().__init__(*args, initial=hidden, auto_id=f"id_{flag.code}_%s", **kwargs)
        self.flag = flag
        if flag.level != words.FlagLevel.STOP:
            del self.fields["outcome"]

    def outcome_of(self, flag: Flag) -> words.DecisionOutcome:
        stop = flag.level == words.FlagLevel.STOP
        return words.DecisionOutcome(self.cleaned_data["outcome"] if stop else words.DecisionOutcome.ACKNOWLEDGED)
