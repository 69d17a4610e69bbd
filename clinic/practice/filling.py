"""What a template fills in, on which form, and which answers still are the template's.

A template is chosen by the person who operates; it fills what is still open, and what it filled counts only after that
person has ticked that it holds. It never touches findings, times, seconds, volumes, batches, consent, toe or side.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms

from clinic.access.answers import AskedWhenNeeded, text_of
from clinic.access.models import Practice
from clinic.access.numbers import plain
from clinic.practice.models import OperationTemplate
from clinic.practice.offers import is_offered
from clinic.vocabulary.sites import listed, small

# Answers of the operation page at a toe, of the end at a toe, and of the end of the attendance.
AT_TOE = ("technique", "agent", "strength_percent", "strength_basis", "lavage")
AT_TOE_END = ("tourniquet", "skin_protected", "haemostasis")
AT_END = ("dressing", "outer_dressing", "aftercare", "aftercare_sheet")
OF_AGENT = ("agent", "strength_percent", "strength_basis")


def answers_from(template: OperationTemplate, names: Iterable[str], practice: Practice) -> dict[str, str]:
    """The template's answers by name; what it leaves open, or the practice no longer offers, is not among them."""
    found = {name: plain(value) for name in names if (value := getattr(template, name)) not in {None, ""}}
    if "agent" in found and not is_offered(practice, "agents_offered", found["agent"]):
        found = {name: value for name, value in found.items() if name not in OF_AGENT}
    if "dressing" in found and not is_offered(practice, "dressings_offered", found["dressing"]):
        del found["dressing"]
    return found


def filled(
    answers: Mapping[str, Any], toes: Iterable[str], template: OperationTemplate, practice: Practice
) -> dict[str, Any]:
    """The answers of the operation page, with what the template says where nothing was answered.

    toes: prefixes of the toe forms. A toe with another technique, or another agent, is left alone in that part.
    """
    result = dict(answers)
    for toe in toes:
        offered = answers_from(template, AT_TOE, practice)
        if result.get(f"{toe}-technique") not in {None, "", template.technique}:
            continue
        if result.get(f"{toe}-agent") not in {None, "", offered.get("agent")}:
            offered = {name: value for name, value in offered.items() if name not in OF_AGENT}
        for name, value in offered.items():
            result[f"{toe}-{name}"] = result.get(f"{toe}-{name}") or value
    return result


def emptied(
    answers: Mapping[str, Any], toes: Iterable[str], template: OperationTemplate, practice: Practice
) -> dict[str, Any]:
    """The answers without those that are still the template's."""
    offered = answers_from(template, AT_TOE, practice)
    gone = {f"{toe}-{name}" for toe in toes for name, value in offered.items() if answers.get(f"{toe}-{name}") == value}
    return {name: value for name, value in answers.items() if name not in gone}


def mark(form: forms.Form, offered: Mapping[str, str]) -> list[str]:
    """Say at each answer that still is the template's where it comes from; gives their labels."""
    names = [name for name in offered if name in form.fields]
    same = [bound for name in names if text_of((bound := form[name]).value()) == offered[name]]
    for bound in same:
        bound.field.from_template = True
        bound.help_text = "From the template."
    return [str(bound.label) for bound in same]


class FromTemplateForm(AskedWhenNeeded, forms.Form):
    """The template that a page started from, and the tick for what came from it. Needed only where something did."""

    key = forms.CharField(required=False, max_length=12, widget=forms.HiddenInput)
    checked = forms.BooleanField()
    asked_when_needed = ("checked",)


class FromTemplate:
    """What a page still holds of the template it started from.

    parts: forms of the page with the names that the template may answer there. tick: what is ticked, in words.
    """

    def __init__(
        self,
        template: OperationTemplate | None,
        practice: Practice,
        parts: Iterable[tuple[forms.Form, Iterable[str]]],
        *,
        tick: str,
        data: Mapping[str, Any] | None = None,
    ) -> None:
        self.template = template
        self.form = FromTemplateForm(data, prefix="template", initial={"key": template.key if template else ""})
        self.form.fields["checked"].label = tick
        offered = [(form, answers_from(template, names, practice)) for form, names in parts] if template else []
        self.labels = list(dict.fromkeys(label for form, answers in offered for label in mark(form, answers)))

    def settle(self) -> None:
        """After validating: what came from the template counts only with the tick."""
        if self.labels and not self.form.cleaned_data.get("checked"):
            labels = listed(small(label) for label in self.labels)
            self.form.add_error("checked", f"Tick that what came from the template holds, or change it: {labels}")
