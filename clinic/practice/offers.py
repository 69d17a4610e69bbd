"""What forms offer: the practice's choices first and only, and whatever else is already the answer.

A code that is not offered stays a valid answer. A form opened before the lead changed the settings, or a record from
before, must not be refused for telling the truth.
"""

from collections.abc import Collection, Iterable
from typing import Any

from django import forms

from clinic.access.models import ALWAYS_OFFERED, Practice
from clinic.vocabulary.procedure import Agent, Anaesthetic, StageSystem
from clinic.vocabulary.sites import small
from clinic.vocabulary.terms import Term, label_of
from clinic.vocabulary.theatre import Dressing

# By column of the practice: the terms, and what the practice is said to use.
OFFERS: dict[str, tuple[type[Term], str]] = {
    "agents_offered": (Agent, "agents"),
    "anaesthetics_offered": (Anaesthetic, "anaesthetics"),
    "dressings_offered": (Dressing, "dressings"),
}


def is_offered(practice: Practice, column: str, code: str) -> bool:
    return code in ALWAYS_OFFERED or code in getattr(practice, column)


def offer(form: forms.Form, name: str, practice: Practice, column: str, *, stored: str = "") -> None:
    """Show the offered answers of a question, the one given, and the one on record."""
    kept = {stored, _given(form, name)}
    _show(form, name, lambda code: code in kept or is_offered(practice, column, code))


def offer_stages(form: forms.Form, name: str, practice: Practice, *, stored: str = "") -> None:
    """Show the stages of the practice's system, and what was given or is on record in another one.

    The answers are "system:stage"; without a chosen system all are shown.
    """
    system = practice.staging_system
    if system:
        kept = {stored, _given(form, name), "", f"{StageSystem.NONE.value}:"}
        _show(form, name, lambda code: code in kept or code.partition(":")[0] == system)


def not_used(practice: Practice, column: str, codes: Iterable[str]) -> list[str]:
    """Sentences about answers that the practice does not offer; they are asked to be confirmed."""
    terms, what = OFFERS[column]
    others = [code for code in dict.fromkeys(codes) if code and not is_offered(practice, column, code)]
    return [f"{small(label_of(terms, code))} is not among the {what} that this practice uses" for code in others]


def _given(form: forms.Form, name: str) -> str:
    return str(form[name].value() or "")


def _show(form: forms.Form, name: str, wanted: Any) -> None:
    field = form.fields[name]
    field.widget.choices = _only(field.choices, wanted)


def _only(choices: Collection[Any], wanted: Any) -> list[Any]:
    """The wanted pairs; of a group its wanted pairs, alone if it is the only group left."""
    found: list[Any] = []
    for code, label in choices:
        if isinstance(label, list | tuple):
            pairs = [pair for pair in label if wanted(pair[0])]
            found += [(code, pairs)] if pairs else []
        elif wanted(code):
            found.append((code, label))
    return found
