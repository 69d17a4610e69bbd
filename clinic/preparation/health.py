"""The parts of the assessment page about the patient's health, and about allergies."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django import forms

from clinic.access.answers import buttons, choice
from clinic.access.numbers import NumberField, plain
from clinic.preparation.fields import NONE, TicksField
from clinic.preparation.questions import Part, result_day
from clinic.vocabulary import preparation as words
from clinic.vocabulary.procedure import Answer, Sex
from clinic.vocabulary.terms import label_of

UNUSUAL_INR = 5
UNUSUAL_HBA1C = {words.Hba1cUnit.MMOL_MOL: 130, words.Hba1cUnit.PERCENT: 14}
HBA1C_RANGE = {words.Hba1cUnit.MMOL_MOL: (20, 200), words.Hba1cUnit.PERCENT: (4, 20)}
PREGNANT_AGES = (11, 55)
SOME = "some"
DIABETIC = [term.value for term in words.Diabetes if term.present]


class HealthForm(Part):
    diabetes = choice(
        "Diabetes", words.Diabetes, "Choose whether there is diabetes, or “Not asked”",
        without=(words.Diabetes.NOT_RECORDED,), opens=DIABETIC, columns=3,
    )  # fmt: skip
    foot_risk = choice(
        "Foot risk category", words.FootRisk, "Choose the foot risk category, or “Not assessed”",
        without=(words.FootRisk.NOT_APPLICABLE, words.FootRisk.NOT_RECORDED), columns=3,
    )  # fmt: skip
    hba1c = NumberField(label="HbA1c", label_for_errors="HbA1c", required=False)
    hba1c_unit = choice("Unit", words.Hba1cUnit, "Choose the unit of the HbA1c", columns=2)
    hba1c_on = result_day("the HbA1c")
    antithrombotic = TicksField(
        label="Medicines against clotting", terms=words.Antithrombotic, none="None of these", not_asked="Not asked",
        missing="Choose the medicines against clotting, or “None of these”, or “Not asked”", columns=3,
    )  # fmt: skip
    inr = NumberField(label="INR", label_for_errors="INR", min_value="0.5", max_value=10, required=False)
    inr_on = result_day("the INR")
    immunosuppression = choice(
        "Immune system suppressed", words.Immunosuppression,
        "Choose whether the immune system is suppressed, or “Not asked”",
        without=(words.Immunosuppression.NOT_RECORDED,), columns=4,
    )  # fmt: skip
    condition = TicksField(
        label="Conditions", terms=words.Condition, none="None of these", not_asked="Not asked",
        help_text="Ask about each, tick what is present.",
        missing="Tick the conditions, or “None of these”, or “Not asked”", columns=3,
    )  # fmt: skip
    pregnancy = choice(
        "Pregnant", words.Pregnancy, "Choose whether the patient is pregnant, or “Not applicable”",
        without=(words.Pregnancy.NOT_RECORDED,), columns=3,
    )  # fmt: skip
    breastfeeding = choice(
        "Breastfeeding", words.Pregnancy, "Choose whether the patient is breastfeeding, or “Not applicable”",
        without=(words.Pregnancy.NOT_RECORDED,), columns=3,
    )  # fmt: skip
    tobacco = choice(
        "Tobacco", words.Tobacco, "Choose whether the patient uses tobacco, or “Not asked”",
        without=(words.Tobacco.NOT_RECORDED,), columns=4,
    )  # fmt: skip
    asked_when_needed = ("foot_risk", "hba1c_unit")

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if answers.get("diabetes") in DIABETIC and not answers.get("foot_risk") and "foot_risk" not in self.errors:
            self.add_error("foot_risk", "Choose the foot risk category, or “Not assessed”")
        self.check_hba1c(answers)
        if answers.get("inr_on") and answers.get("inr") is None and "inr" not in self.errors:
            self.add_error("inr_on", "A date is given, but no INR; enter the INR or clear the date")
        return answers

    def check_hba1c(self, answers: dict[str, Any]) -> None:
        value, unit = answers.get("hba1c"), answers.get("hba1c_unit")
        if value is None:
            if answers.get("hba1c_on") and "hba1c" not in self.errors:
                self.add_error("hba1c_on", "A date is given, but no HbA1c; enter the HbA1c or clear the date")
        elif not unit:
            if "hba1c_unit" not in self.errors:
                self.add_error("hba1c_unit", "Choose the unit of the HbA1c")
        else:
            self.check_hba1c_range(value, words.Hba1cUnit(unit))

    def check_hba1c_range(self, value: Decimal, unit: words.Hba1cUnit) -> None:
        low, high = HBA1C_RANGE[unit]
        other = next(each for each in words.Hba1cUnit if each != unit)
        if not low <= value <= high:
            hint = f"; {plain(value)} looks like a result in {other.label}" if fits(value, other) else ""
            self.add_error("hba1c", f"HbA1c must be between {low} and {high} {unit.label}{hint}")

    def result_days(self) -> Iterator[tuple[str, str]]:
        yield "hba1c_on", "The HbA1c is"
        yield "inr_on", "The INR is"

    def unusual(self) -> Iterator[str]:
        hba1c, inr, unit = self.number("hba1c"), self.number("inr"), self.number("hba1c_unit")
        if hba1c is not None:
            if hba1c > UNUSUAL_HBA1C[unit]:
                yield f"HbA1c {plain(hba1c)} {label_of(words.Hba1cUnit, unit)} is unusually high"
            if not self.number("hba1c_on"):
                yield "HbA1c without its date"
        if inr is not None:
            if inr > UNUSUAL_INR:
                yield f"INR {plain(inr)} is unusually high"
            if not self.number("inr_on"):
                yield "INR without its date"
            if self.cleaned_data["antithrombotic"][words.Antithrombotic.WARFARIN] != Answer.YES:
                yield "an INR is given, but warfarin is not ticked"
        yield from self.unusual_pregnancy()

    def unusual_pregnancy(self) -> Iterator[str]:
        if words.Pregnancy.YES not in {self.number("pregnancy"), self.number("breastfeeding")}:
            return
        born, today = self.subject.born_on, self.subject.today
        age = today.year - born.year - ((today.month, today.day) < (born.month, born.day))
        if self.subject.sex == Sex.MALE:
            yield "pregnancy or breastfeeding, and the patient is registered as male"
        if not PREGNANT_AGES[0] <= age <= PREGNANT_AGES[1]:
            yield f"pregnancy or breastfeeding at the age of {age}"

    def values(self) -> dict[str, Any]:
        answers = super().values()
        del answers["antithrombotic"], answers["condition"]
        if answers["diabetes"] not in DIABETIC:
            none = answers["diabetes"] == words.Diabetes.NONE
            answers["foot_risk"] = (words.FootRisk.NOT_APPLICABLE if none else words.FootRisk.NOT_RECORDED).value
        if answers["hba1c"] is None:
            answers["hba1c_unit"] = ""
        return answers


def fits(value: Decimal, unit: words.Hba1cUnit) -> bool:
    low, high = HBA1C_RANGE[unit]
    return low <= value <= high


class AllergyForm(Part):
    """Whether there is any, and at each substance what happened."""

    allergies = forms.ChoiceField(
        label="Allergies",
        choices=[
            (NONE, "None known"),
            (SOME, "At least one"),
            (Answer.NOT_ASSESSED.value, "Not asked"),
        ],
        widget=buttons(opens=(SOME,), columns=3),
        error_messages=dict.fromkeys(
            ("required", "invalid_choice"), "Choose whether there are allergies, or “Not asked”"
        ),
    )
    allergy_words = forms.CharField(
        label="Which, and what happened",
        max_length=300,
        required=False,
        error_messages={"max_length": "At most 300 characters"},
    )

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        for allergen in words.Allergen:
            self.fields[f"to_{allergen}"] = forms.ChoiceField(
                label=allergen.label,
                choices=[("", "No allergy"), *words.Reaction.choices()],
                required=False,
                error_messages={"invalid_choice": f"Choose the reaction to “{allergen.label}” from the list"},
            )
            self.fields[f"to_{allergen}"].widget.asked_when_open = True

    def substances(self) -> list[forms.BoundField]:
        return [self[f"to_{allergen}"] for allergen in words.Allergen]

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        known, reactions = answers.get("allergies"), self.reactions()
        wrong = any(name.startswith("to_") for name in self.errors)
        if known == SOME and not reactions and not answers.get("allergy_words") and not wrong:
            self.add_error("allergies", "Choose the reaction at the substance, or say in words which allergy")
        elif known and known != SOME and reactions:
            label = label_of(words.Allergen, next(iter(reactions)))
            chosen = dict(self.fields["allergies"].choices)[known]
            self.add_error("allergies", f"“{chosen}” cannot go with a reaction to “{label}”; change one of them")
        return answers

    def reactions(self) -> dict[str, str]:
        found = {each.value: self.cleaned_data.get(f"to_{each}") or "" for each in words.Allergen}
        return {code: reaction for code, reaction in found.items() if reaction}

    def values(self) -> dict[str, Any]:
        some = self.cleaned_data["allergies"] == SOME
        return {"allergy_words": self.cleaned_data["allergy_words"] if some else ""}

    def lines(self) -> dict[tuple[str, str], tuple[str, str]]:
        """The answer and the reaction of every allergen."""
        reactions, asked = self.reactions(), self.cleaned_data["allergies"] != Answer.NOT_ASSESSED
        rest = (Answer.NO if asked else Answer.NOT_ASSESSED).value
        return {
            (words.Topic.ALLERGY.value, each.value): (
                (Answer.YES.value, reactions[each]) if each.value in reactions else (rest, "")
            )
            for each in words.Allergen
        }
