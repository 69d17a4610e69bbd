"""Questions of the assessment and the consent: choice buttons, and several of few with an explicit "none"."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic.access.answers import buttons
from clinic.access.models import Member
from clinic.access.rules import Action, roles_that_may
from clinic.vocabulary.procedure import Answer, ConsentGiver
from clinic.vocabulary.sites import SITES
from clinic.vocabulary.terms import Term

CHILD_UNDER = 16
NONE, NOT_ASKED = "none", Answer.NOT_ASSESSED.value


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


def note_asked(giver: str | None, age: int | None) -> str:
    """What a note must say about who consented; empty where it need not say anything. age: on the day of consent."""
    if giver == ConsentGiver.OTHER:
        return "Note who gave consent and with what authority"
    if giver == ConsentGiver.PATIENT and age is not None and age < CHILD_UNDER:
        return f"The patient was {age} on that day. Note how consent was settled"
    return ""
