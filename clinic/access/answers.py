"""How pages ask and read answers: choice buttons, a tick with a reason for what is unusual, answers as text."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from django import forms
from django.http import HttpRequest

from clinic.access.forms import VersionedForm
from clinic.access.numbers import say_day
from clinic.access.once import OneTimeForm
from clinic.vocabulary.terms import Term

REASON_LENGTH = 200  # what the records hold
MOVED_ON = "Somebody changed this a moment ago. Read it, then try again."


class AskedWhenNeeded:
    """Mixin before forms.Form: fields in `asked_when_needed` may be left out, though no label calls them optional.

    The form's own clean() says when they are missed.
    """

    asked_when_needed: tuple[str, ...] = ()
    use_required_attribute = False

    def _clean_fields(self) -> None:
        conditional = [field for name, field in self.fields.items() if name in self.asked_when_needed]
        for field in conditional:
            field.required = False
        super()._clean_fields()
        for field in conditional:
            field.required = True


def buttons(
    kind: type[forms.widgets.ChoiceWidget] = forms.RadioSelect,
    *,
    opens: Iterable[str] = (),
    columns: int = 0,
    asked_when_open: bool = False,
    **attrs: Any,
) -> forms.widgets.ChoiceWidget:
    """Choice buttons; the answers in `opens` show the questions that depend on them.

    asked_when_open: the question says itself when it must be answered; "(optional)" would be untrue.
    """
    made = kind(attrs=attrs)
    made.opens, made.columns, made.asked_when_open = tuple(opens), columns, asked_when_open
    return made


def choice(
    label: str,
    terms: Iterable[Term],
    missing: str,
    *,
    without: Iterable[Term] = (),
    opens: Iterable[str] = (),
    columns: int = 0,
    short: Mapping[Term, str] | None = None,
    asked_when_open: bool = False,
    **options: Any,
) -> forms.ChoiceField:
    """Radio buttons for one coded answer; `missing` is what is said when it is left open, `short` a shorter label."""
    left_out, shorter = set(without), short or {}
    return forms.ChoiceField(
        label=label,
        choices=[(term.value, shorter.get(term, term.label)) for term in terms if term not in left_out],
        widget=buttons(opens=opens, columns=columns, asked_when_open=asked_when_open),
        error_messages={"required": missing, "invalid_choice": missing},
        **options,
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

    def reason_for(self, warnings: list[str]) -> str:
        """Why the unusual is right; empty where nothing was unusual."""
        return self.cleaned_data.get("confirm_reason", "") if warnings else ""


class ReasonForm(forms.Form):
    """Why something is done. A page says it in its own words by `asked` and `missing`."""

    asked, missing = "Reason", "Give the reason"
    reason = forms.CharField(max_length=REASON_LENGTH)

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"].label = self.asked
        self.fields["reason"].error_messages["required"] = self.missing


class CorrectionReasonForm(ReasonForm):
    asked, missing = "Reason for the correction", "Give the reason for the correction"


class StrikeForm(VersionedForm, ReasonForm):
    """Why an entry is wrong."""


class OnceForm(OneTimeForm, forms.Form):
    """The one-time token of a page that makes a record."""


class VersionForm(VersionedForm, forms.Form):
    """The version a change was typed against."""


def typed_version(request: HttpRequest) -> int:
    """The version the page showed; 0, which never fits, if the page sent none."""
    text = request.POST.get("version", "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else 0


def note_with(typed: str, why: str) -> str:
    """What was typed, and why unusual answers are right; once, however often it is saved again."""
    line = f"Unusual, confirmed: {why}" if why else ""
    return typed if line in typed.splitlines() else "\n".join(filter(None, (typed, line)))


def under(prefix: str, answers: Mapping[str, Any]) -> dict[str, Any]:
    """The answers of one form of a page, without its prefix."""
    start = f"{prefix}-"
    return {name[len(start) :]: value for name, value in answers.items() if name.startswith(start)}


def count_of(answers: Mapping[str, Any], most: int) -> int:
    """How many toes a page holds; anything but a number from 1 to `most` is 1."""
    text = str(answers.get("toes", "1"))
    return int(text) if text in {str(number) for number in range(1, most + 1)} else 1


def without_toe(answers: Mapping[str, Any], number: int, most: int) -> dict[str, Any]:
    """The answers with one toe taken away; the toes behind it move up."""
    count = count_of(answers, most)
    if count == 1 or not 1 <= number <= count:
        return dict(answers)
    left: dict[str, Any] = {"toes": str(count - 1)}
    for name, value in answers.items():
        head, dash, rest = name.partition("-")
        place = int(head[3:]) if dash and head[:3] == "toe" and head[3:].isdecimal() else 0
        if place == 0 and name != "toes":
            left[name] = value
        elif place and place != number:
            left[f"toe{place - (place > number)}-{rest}"] = value
    return left


def text_of(value: Any) -> str:
    """An answer as one comparable text; several ticks are put in one order."""
    if isinstance(value, list | tuple):
        return ", ".join(sorted(str(each) for each in value))
    if value is None or isinstance(value, bool):
        return "on" if value else ""
    return str(value).strip()


def said(bound: forms.BoundField, text: str) -> str:
    """Codes and dates of an answer as people read them."""
    pairs = getattr(bound.field.widget, "choices", ())
    flat = [pair for code, label in pairs for pair in (label if isinstance(label, list) else [(code, label)])]
    words = {str(code): str(label) for code, label in flat} | {"on": "yes"}
    if text in words:
        return words[text]
    if all(part in words for part in text.split(", ")):
        return ", ".join(words[part] for part in text.split(", "))
    try:
        return say_day(date.fromisoformat(text))
    except ValueError:
        return text
