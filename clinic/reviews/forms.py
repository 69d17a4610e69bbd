"""The chairside review: one form for the visit, one per treated toe, one per treated side.

No finding is filled in. What must be answered is asked; what opens only under an answer is ignored elsewhere.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.forms import BaseForm

from clinic.access.numbers import DayField, WholeNumberField
from clinic.procedures.models import NailProcedure, Operation, TreatedSide
from clinic.reviews.models import OTHER_FIELDS, SIGN_FIELDS, Review
from clinic.reviews.recording import Findings, explicit_retreatment, explicit_signs
from clinic.reviews.sentences import toe_name
from clinic.schedule import point_of
from clinic.vocabulary import review as words
from clinic.vocabulary.procedure import Answer
from clinic.vocabulary.terms import Term

PAIN_CHOICES = [*((str(score), str(score)) for score in range(11)), ("not_asked", "Not asked")]
OTHER_LABELS = {
    "over_granulation": "Over-granulation",
    "skin_burn": "Skin burn",
    "numbness": "Numbness",
    "untreated_ingrowth": "Ingrowth at the untreated side",
}
SIGN_LABELS = {
    "spreading": "Redness spreading",
    "swelling": "Swelling",
    "warmth": "Warmth",
    "tenderness": "New or worse tenderness",
    "odour": "Odour",
    "lymphangitis": "Red streaks",
    "wound_opened": "Wound opened by a clinician",
}
YES_NO = [(Answer.YES.value, "Yes"), (Answer.NO.value, "No")]
NONE_OF_THESE = "none"
SHORT = {
    words.Extent.FULL: "Full width",
    words.Symptoms.INGROWTH: "Ingrowing, inflamed",
}


def buttons(widget: type[forms.Widget] = forms.RadioSelect, *, opens: tuple[str, ...] = (), columns: int = 0, **attrs):
    """Choice buttons; the answers in `opens` show the questions that depend on them."""
    made = widget(attrs=attrs)
    made.opens, made.columns = opens, columns
    # A question that opens under an answer says itself when it must be answered; "(optional)" would be untrue.
    made.asked_when_open = True
    return made


def choice(
    label: str,
    terms: type[Term],
    missing: str,
    *,
    without: tuple[Term, ...] = (),
    opens: tuple[str, ...] = (),
    columns: int = 0,
    **options,
) -> forms.ChoiceField:
    """Radio buttons for one coded answer; `missing` is what is said when it is left open."""
    pairs = [(term.value, SHORT.get(term, term.label)) for term in terms if term not in without]
    return forms.ChoiceField(
        label=label,
        choices=pairs,
        widget=buttons(opens=opens, columns=columns),
        error_messages={"required": missing, "invalid_choice": missing},
        **options,
    )


class VisitForm(forms.Form):
    """When, how it came about, who looked, by what means, and what is next."""

    seen_on = DayField(label="Date of the review", label_for_errors="the review date", question="When was the review?")
    means = choice("Seen how", words.Means, "Choose how the toe was seen")
    origin = choice("How it came about", words.Origin, "Choose whether the review was planned")
    observer = choice("Who looked", words.Observer, "Choose who looked at the toe")
    next_step = choice("Next", words.NextStep, "Choose what is next", opens=(words.NextStep.END_CLINIC.value,))
    next_reason = forms.CharField(label="Reason for ending clinic reviews", max_length=200, required=False)
    note = forms.CharField(label="Note", max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args, operation: Operation, today: date, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.operation = operation
        self.fields["seen_on"].today = today

    def clean_seen_on(self) -> date:
        seen_on = self.cleaned_data["seen_on"]
        performed_on = self.operation.performed_on
        if seen_on < performed_on:
            raise forms.ValidationError(
                f"This review is dated before the operation ({performed_on.day} {performed_on:%b %Y})"
            )
        return seen_on

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        means, observer = answers.get("means"), answers.get("observer")
        if observer == words.Observer.PATIENT and means in {words.Means.IN_PERSON, words.Means.LETTER}:
            self.add_error("observer", "A patient's own report comes by questionnaire, phone or photograph")
        if means == words.Means.QUESTIONNAIRE and observer and observer != words.Observer.PATIENT:
            self.add_error("observer", "A questionnaire holds the patient's own report; choose “The patient”")
        return answers


class ToeForm(forms.Form):
    """One treated toe: healing, infection components, antibiotic, pain, anything else."""

    healing = choice("Healing", words.Healing, "Choose how the toe is healing")
    signs = choice(
        "Signs of infection",
        words.Signs,
        "Choose whether you see signs of infection",
        opens=(words.Signs.SOME.value,),
        columns=4,
    )
    fluid_colour = choice("Wound fluid, colour", words.FluidColour, "Choose a colour from the list", required=False)
    fluid_consistency = choice(
        "Wound fluid, consistency", words.FluidConsistency, "Choose from the list", required=False
    )
    fluid_amount = choice("Wound fluid, amount", words.FluidAmount, "Choose an amount from the list", required=False)
    erythema_mm = WholeNumberField(
        label="Redness from the wound edge",
        label_for_errors="Redness",
        unit="mm",
        min_value=0,
        max_value=100,
        required=False,
    )
    swab = choice("Swab", words.Swab, "Choose from the list", required=False)
    diagnosis = choice("Your diagnosis", words.Diagnosis, "Choose your diagnosis, or “Not assessed”", required=False)
    antibiotic = choice("Antibiotic since the last review", words.Antibiotic, "Choose whether an antibiotic was given")
    pain = forms.ChoiceField(
        label="Pain today",
        choices=PAIN_CHOICES,
        widget=buttons(**{"class": "scale"}),
        help_text="0 none, 10 worst",
        error_messages={
            "required": "Choose the pain score, or “Not asked”",
            "invalid_choice": "Pain is a whole number from 0 to 10",
        },
    )
    other = forms.MultipleChoiceField(
        label="Anything else",
        widget=buttons(forms.CheckboxSelectMultiple),
        help_text="All that apply",
        error_messages={
            "required": "Choose what else you see, or “None of these”",
            "invalid_choice": "Choose from the list",
        },
    )
    satisfaction = choice(
        "Satisfied with the result", words.Satisfaction, "Choose from the list", required=False,
    )  # fmt: skip

    def __init__(self, *args, nail: NailProcedure, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.nail = nail
        self.asks_untreated = len(nail.sides) == 1 and "whole" not in nail.sides
        others = [(code, OTHER_LABELS[code]) for code in OTHER_FIELDS]
        if self.asks_untreated:
            others.append(("untreated_ingrowth", OTHER_LABELS["untreated_ingrowth"]))
        self.fields["other"].choices = [
            (NONE_OF_THESE, "None of these"),
            *others,
            ("not_assessed", "Not assessed"),
        ]
        for name in SIGN_FIELDS:
            self.fields[name] = forms.ChoiceField(
                label=SIGN_LABELS[name],
                choices=YES_NO,
                required=False,
                widget=buttons(columns=2),
            )

    def sign_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in SIGN_FIELDS]

    def clean_other(self) -> list[str]:
        chosen = self.cleaned_data["other"]
        for alone in (NONE_OF_THESE, "not_assessed"):
            rest = [code for code in chosen if code != alone]
            if alone in chosen and rest:
                first = dict(self.fields["other"].choices)[rest[0]]
                alone_label = dict(self.fields["other"].choices)[alone]
                raise forms.ValidationError(f"“{alone_label}” cannot go with “{first}”; take one away")
        return chosen

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if answers.get("signs") == words.Signs.SOME and not answers.get("diagnosis"):
            self.add_error("diagnosis", "Choose your diagnosis, or “Not assessed”")
        return answers

    def answers(self) -> dict[str, object]:
        """Every column of a toe finding, explicit."""
        given = self.cleaned_data
        components = ("fluid_colour", "fluid_consistency", "fluid_amount", "erythema_mm", "swab", "diagnosis")
        signs = explicit_signs(
            given["signs"], given["healing"], {name: given.get(name) for name in (*components, *SIGN_FIELDS)}
        )
        return {
            **signs,
            "healing": given["healing"],
            "antibiotic": given["antibiotic"],
            "pain_state": words.PainState.NOT_ASKED if given["pain"] == "not_asked" else words.PainState.SCORED,
            "pain": None if given["pain"] == "not_asked" else int(given["pain"]),
            "satisfaction": given["satisfaction"] or words.Satisfaction.NOT_ASKED,
            **self._others(given["other"]),
        }

    def _others(self, chosen: list[str]) -> dict[str, object]:
        if "not_assessed" in chosen:
            found = dict.fromkeys(OTHER_FIELDS, Answer.NOT_ASSESSED)
            untreated = words.UntreatedSide.NOT_ASSESSED
        else:
            found = {name: Answer.YES if name in chosen else Answer.NO for name in OTHER_FIELDS}
            new = "untreated_ingrowth" in chosen
            untreated = words.UntreatedSide.INGROWTH if new else words.UntreatedSide.NONE
        return {**found, "untreated_side": untreated if self.asks_untreated else words.UntreatedSide.NOT_APPLICABLE}


class SideForm(forms.Form):
    """One treated side: regrowth, symptoms (asked whatever the regrowth), what is done about it."""

    extent = choice(
        "Regrowth",
        words.Extent,
        "Choose what you see of regrowth",
        opens=tuple(term.value for term in words.Extent if term.regrown),
        columns=3,
    )
    symptoms = choice(
        "Symptoms",
        words.Symptoms,
        "Choose whether this side troubles the patient",
        opens=(words.Symptoms.PAIN.value, words.Symptoms.INGROWTH.value, words.Symptoms.INFECTED.value),
        columns=3,
    )
    retreatment = choice(
        "What was done", words.Retreatment, "Choose what was done about it", required=False,
        without=(words.Retreatment.NOT_ASSESSED,),
    )  # fmt: skip

    def __init__(self, *args, treated: TreatedSide, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.treated = treated
        if treated.nail_procedure.matrix_destroyed:
            kept = [pair for pair in self.fields["extent"].choices if pair[0] != words.Extent.NOT_APPLICABLE]
            self.fields["extent"].choices = kept

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        extent, symptoms = answers.get("extent"), answers.get("symptoms")
        regrown = bool(extent) and words.Extent(extent).regrown
        troubled = symptoms in {words.Symptoms.PAIN, words.Symptoms.INGROWTH, words.Symptoms.INFECTED}
        if (regrown or troubled) and not answers.get("retreatment"):
            self.add_error("retreatment", "Choose what was done about it, or “None”")
        return answers

    def answers(self) -> dict[str, object]:
        given = self.cleaned_data
        return {
            "extent": given["extent"],
            "symptoms": given["symptoms"],
            "retreatment": explicit_retreatment(given["extent"], given["symptoms"], given["retreatment"]),
        }


class ConfirmForm(forms.Form):
    """Possible but unusual answers are saved after a tick and a reason."""

    confirmed = forms.BooleanField(label="This is correct", required=False)
    confirm_reason = forms.CharField(label="Reason", max_length=200, required=False)


@dataclass
class ToePanel:
    nail: NailProcedure
    form: ToeForm
    sides: list[SideForm]


class ReviewEntry:
    """All forms of one review page, cleaned together; `warnings` need a tick and a reason before saving."""

    def __init__(
        self,
        *,
        operation: Operation,
        earlier: list[Review],
        today: date,
        data: Mapping[str, Any] | None = None,
        initial: Mapping[str, Any] | None = None,
    ) -> None:
        self.operation, self.earlier, self.data = operation, earlier, data
        initial = initial or {}

        def under(prefix: str) -> dict[str, Any]:
            start = f"{prefix}-"
            return {name[len(start) :]: value for name, value in initial.items() if name.startswith(start)}

        self.visit = VisitForm(data, prefix="visit", initial=under("visit"), operation=operation, today=today)
        self.confirm = ConfirmForm(data, prefix="confirm", initial=under("confirm"))
        self.panels = []
        for nail in operation.nail_procedures.all():
            sides = [
                SideForm(data, prefix=f"side-{treated.key}", initial=under(f"side-{treated.key}"), treated=treated)
                for treated in nail.treated_sides.all()
            ]
            toe = ToeForm(data, prefix=f"toe-{nail.key}", initial=under(f"toe-{nail.key}"), nail=nail)
            self.panels.append(ToePanel(nail, toe, sides))
        self.from_draft = False
        self.warnings: list[str] = []
        self.foreign_errors: list[str] = []

    def forms(self) -> list[forms.Form]:
        parts: list[forms.Form] = [self.visit]
        for panel in self.panels:
            parts += [panel.form, *panel.sides]
        return [*parts, self.confirm]

    def is_valid(self) -> bool:
        valid = all([form.is_valid() for form in self.forms()])
        self._refuse_untreated_sides()
        self._check_ending()
        valid = valid and not self.foreign_errors and not self.visit.errors
        if valid:
            self._find_warnings()
            valid = not self.warnings or self._confirmed()
        return valid

    def errors(self) -> list[tuple[str, str]]:
        """Pairs of the field's id (empty for the page) and its text, in the order of the page."""
        found = [("", text) for text in self.foreign_errors]
        several = len(self.panels) > 1
        for form in self.forms():
            where = self._where(form, several=several)
            for name, texts in form.errors.items():
                anchor = form[name].auto_id if name in form.fields else ""
                found += [(anchor, f"{where}{text}") for text in texts]
        return found

    def _where(self, form: BaseForm, *, several: bool) -> str:
        """Which toe and side a sentence of the summary is about, where there is more than one."""
        if isinstance(form, ToeForm):
            return f"{toe_name(form.nail)}: " if several else ""
        if isinstance(form, SideForm) and (several or len(form.treated.nail_procedure.sides) > 1):
            toe = f"{toe_name(form.treated.nail_procedure)}, " if several else ""
            side = _side_name(form.treated)
            return f"{toe}{side}: " if several else f"{side[0].upper()}{side[1:]}: "
        return ""

    def findings(self) -> Findings:
        return Findings(
            toes={panel.nail: panel.form.answers() for panel in self.panels},
            sides={side.treated: side.answers() for panel in self.panels for side in panel.sides},
        )

    @property
    def reason(self) -> str:
        return self.confirm.cleaned_data.get("confirm_reason", "") if self.warnings else ""

    def _refuse_untreated_sides(self) -> None:
        known = {side.treated.key for panel in self.panels for side in panel.sides}
        sent = {name.split("-")[1] for name in (self.data or {}) if name.startswith("side-") and name.count("-") == 2}
        if sent - known:
            self.foreign_errors = ["A finding was sent for a side that was not treated in this operation"]

    def _check_ending(self) -> None:
        ending = self.visit.cleaned_data.get("next_step") == words.NextStep.END_CLINIC if self.visit.is_bound else False
        open_toe = any(
            panel.form.cleaned_data.get("healing") in {words.Healing.MOIST, words.Healing.NOT_HEALING}
            for panel in self.panels
        )
        if ending and open_toe and not self.visit.cleaned_data.get("next_reason"):
            self.visit.add_error(
                "next_reason", "The toe is recorded as not healed. Give the reason for ending clinic reviews"
            )

    def _confirmed(self) -> bool:
        given = self.confirm.cleaned_data
        if not given.get("confirmed"):
            self.confirm.add_error("confirmed", f"Tick that this is correct, or change the answer: {self.warnings[0]}")
        if not given.get("confirm_reason"):
            self.confirm.add_error("confirm_reason", "Give the reason")
        return not self.confirm.errors

    def _find_warnings(self) -> None:
        seen_on = self.visit.cleaned_data["seen_on"]
        for review in self.earlier:
            if review.seen_on == seen_on:
                self.warnings.append(
                    f"A review of this operation dated {_say(seen_on)} was already saved by {review.recorded_by}. "
                    "Is this a second one?"
                )
                break
        for panel in self.panels:
            for side in panel.sides:
                self._warn_of_clear_after_regrowth(side, seen_on)

    def _warn_of_clear_after_regrowth(self, side: SideForm, seen_on: date) -> None:
        if side.cleaned_data["extent"] != words.Extent.NONE:
            return
        for review in self.earlier:
            regrown = any(
                finding.treated_side_id == side.treated.pk and words.Extent(finding.extent).regrown
                for finding in review.side_findings.all()
            )
            if regrown and review.seen_on <= seen_on:
                self.warnings.append(
                    f"Regrowth at the {_side_name(side.treated)} was recorded on {_say(review.seen_on)}. "
                    "Both findings are kept, and the first regrowth counts."
                )
                return


def _say(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def _side_name(treated: TreatedSide) -> str:
    label = treated.get_side_display()
    return label[0].lower() + label[1:]


def first_answers(operation: Operation, *, by_key: int, today: date, booked: bool) -> dict[str, Any]:
    """Context that may be filled in beforehand: date, means, who. Never a finding."""
    day = (today - operation.performed_on).days
    answers: dict[str, Any] = {"visit-seen_on": today, "visit-next_step": words.NextStep.AS_PLANNED.value}
    if booked or point_of(day):
        answers["visit-origin"] = words.Origin.PLANNED.value
    answers["visit-means"] = words.Means.IN_PERSON.value
    same = operation.operator_id == by_key
    answers["visit-observer"] = (words.Observer.OPERATOR if same else words.Observer.COLLEAGUE).value
    return answers


def answers_of(review: Review) -> dict[str, Any]:
    """A saved review as the answers of the form, for correcting or undoing it."""
    answers: dict[str, Any] = {
        f"visit-{name}": getattr(review, name)
        for name in ("seen_on", "means", "origin", "observer", "next_step", "next_reason", "note")
    }
    for toe in review.toe_findings.all():
        answers |= {f"toe-{toe.nail_procedure.key}-{name}": value for name, value in _toe_answers(toe).items()}
    for side in review.side_findings.all():
        start = f"side-{side.treated_side.key}"
        answers |= {f"{start}-{name}": getattr(side, name) for name in ("extent", "symptoms", "retreatment")}
    return answers


def _toe_answers(toe) -> dict[str, Any]:
    plain = ("healing", "signs", "fluid_colour", "fluid_consistency", "fluid_amount", "erythema_mm", "swab")
    answers = {name: getattr(toe, name) for name in (*plain, "diagnosis", "antibiotic", "satisfaction", *SIGN_FIELDS)}
    if toe.signs != words.Signs.SOME:
        # The components were stored by rule, not answered; the open form must not show them as answers.
        answers |= dict.fromkeys((*plain[2:], "diagnosis", *SIGN_FIELDS))
    answers["pain"] = "not_asked" if toe.pain is None else str(toe.pain)
    others = [name for name in OTHER_FIELDS if getattr(toe, name) == Answer.YES]
    if toe.untreated_side == words.UntreatedSide.INGROWTH:
        others.append("untreated_ingrowth")
    not_looked = toe.over_granulation == Answer.NOT_ASSESSED
    answers["other"] = others or (["not_assessed"] if not_looked else [NONE_OF_THESE])
    return answers
