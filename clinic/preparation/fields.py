"""Questions of the assessment and the consent: choice buttons, and several of few with an explicit "none"."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic.access.models import Member
from clinic.access.rules import Action, roles_that_may
from clinic.patients.changes import say_day
from clinic.patients.forms import AskedWhenNeeded
from clinic.vocabulary.procedure import Answer
from clinic.vocabulary.sites import SITES
from clinic.vocabulary.terms import Term

REASON_LENGTH = 100  # what the history keeps
NONE, NOT_ASKED = "none", Answer.NOT_ASSESSED.value


def buttons(
    kind: type[forms.widgets.ChoiceWidget] = forms.RadioSelect, *, opens: Iterable[str] = (), columns: int = 0
) -> forms.widgets.ChoiceWidget:
    """Choice buttons; the answers in `opens` show the questions that depend on them."""
    made = kind()
    made.opens, made.columns = tuple(opens), columns
    return made


def choice(
    label: str,
    terms: Iterable[Term],
    missing: str,
    *,
    without: Iterable[Term] = (),
    opens: Iterable[str] = (),
    columns: int = 0,
    **options: Any,
) -> forms.ChoiceField:
    """Radio buttons for one coded answer; `missing` is what is said when it is left open."""
    left_out = set(without)
    return forms.ChoiceField(
        label=label,
        choices=[(term.value, term.label) for term in terms if term not in left_out],
        widget=buttons(opens=opens, columns=columns),
        error_messages={"required": missing, "invalid_choice": missing},
        **options,
    )


class TicksField(forms.MultipleChoiceField):
    """Several of few. Gives the answer to each code, so that "no" is stored where it was said.

    none, not_asked: the words of these two answers, which stand alone; without `none` nothing more than the ticks is
    known, and what was not ticked was not recorded.
    """

    def __init__(
        self,
        *,
        terms: Iterable[Term],
        none: str = "",
        not_asked: str = "",
        missing: str = "",
        opens: Iterable[str] = (),
        columns: int = 0,
        **options: Any,
    ) -> None:
        self.terms = list(terms)
        alone = [(NONE, none), (NOT_ASKED, not_asked)]
        self.alone = {code: words for code, words in alone if words}
        super().__init__(
            choices=[*((term.value, term.label) for term in self.terms), *self.alone.items()],
            widget=buttons(forms.CheckboxSelectMultiple, opens=opens, columns=columns),
            required=bool(none),
            error_messages={"required": missing, "invalid_choice": missing or "Choose from the list"},
            **options,
        )

    def clean(self, value: Any) -> dict[str, str]:
        ticked = super().clean(value)
        alone = [code for code in ticked if code in self.alone]
        if alone and len(ticked) > 1:
            words = dict(self.choices)
            other = next(code for code in ticked if code != alone[0])
            raise ValidationError(f"“{words[alone[0]]}” cannot go with “{words[other]}”; take one away")
        if alone:
            rest = Answer.NO if alone == [NONE] else Answer.NOT_ASSESSED
        else:
            rest = Answer.NO if self.alone else Answer.NOT_RECORDED
        return {term.value: (Answer.YES if term.value in ticked else rest).value for term in self.terms}

    def ticks_of(self, answers: Mapping[str, str]) -> list[str]:
        """The ticks that stand for stored answers."""
        ticked = [term.value for term in self.terms if answers.get(term.value) == Answer.YES]
        known = set(answers.values())
        if not ticked and known and self.alone:
            ticked = [NONE] if known == {Answer.NO.value} else [NOT_ASKED] if known == {NOT_ASKED} else []
        return ticked


class MemberField(forms.ModelChoiceField):
    """Somebody of the practice who may do `action`, or who is stored already."""

    def __init__(self, *, missing: str, **options: Any) -> None:
        super().__init__(
            queryset=Member.objects.none(),
            to_field_name="key",
            empty_label="Choose a person",
            error_messages={"required": missing, "invalid_choice": missing},
            **options,
        )

    def offer(self, member: Member, action: Action, stored: Member | None = None) -> None:
        people = Member.objects.filter(practice_id=member.practice_id, is_active=True, role__in=roles_that_may(action))
        if stored is not None:
            people = people | Member.objects.filter(pk=stored.pk)
        self.queryset = people.order_by("last_name", "first_name", "username")


def toe_field() -> forms.ChoiceField:
    return forms.ChoiceField(
        label="Which toe?",
        choices=SITES,
        widget=forms.RadioSelect,
        help_text="As you see the feet from the foot of the chair.",
        error_messages={"required": "Choose the toe", "invalid_choice": "Choose the toe"},
    )


class ConfirmForm(AskedWhenNeeded, forms.Form):
    """Possible but unusual answers are saved after a tick and a reason."""

    confirmed = forms.BooleanField(label="This is correct")
    confirm_reason = forms.CharField(label="Reason", max_length=REASON_LENGTH)
    asked_when_needed = ("confirmed", "confirm_reason")

    def settles(self, warnings: list[str]) -> bool:
        """Whether there is nothing to confirm, or it is confirmed with a reason."""
        if not warnings:
            return True
        if not self.cleaned_data.get("confirmed"):
            self.add_error("confirmed", f"Tick that this is correct, or change the answer: {warnings[0]}")
        if not self.cleaned_data.get("confirm_reason"):
            self.add_error("confirm_reason", "Give the reason")
        return not self.errors


class ReasonForm(forms.Form):
    reason = forms.CharField(label="Reason", max_length=REASON_LENGTH, error_messages={"required": "Give the reason"})


def note_with(typed: str, why: str) -> str:
    """What was typed, and why unusual answers are right; once, however often it is saved again."""
    line = f"Unusual, confirmed: {why}" if why else ""
    return typed if line in typed.splitlines() else "\n".join(filter(None, (typed, line)))


def text_of(value: Any) -> str:
    """An answer as one comparable text; several ticks are put in one order."""
    if isinstance(value, list | tuple):
        return ", ".join(sorted(str(each) for each in value))
    if value is None or isinstance(value, bool):
        return "on" if value else ""
    return str(value).strip()


def said(bound: forms.BoundField, text: str) -> str:
    """Codes and dates of an answer as people read them."""
    pairs = getattr(bound.field, "choices", ())
    words = {str(code): str(label) for code, label in pairs} | {"on": "yes"}
    if text in words:
        return words[text]
    if all(part in words for part in text.split(", ")):
        return ", ".join(words[part] for part in text.split(", "))
    try:
        return say_day(date.fromisoformat(text))
    except ValueError:
        return text
