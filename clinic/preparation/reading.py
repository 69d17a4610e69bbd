"""A stored assessment or consent in words: sections of labels and values. Reads what was fetched."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from clinic.access.numbers import plain, say_day
from clinic.preparation.models import AssessedToe, Assessment, AssessmentItem, Consent, FootFinding
from clinic.vocabulary import preparation as words
from clinic.vocabulary.procedure import Answer
from clinic.vocabulary.sites import capital, listed, part_name, site_name, small, toe_name
from clinic.vocabulary.terms import label_of

NOT_RECORDED = "not recorded"
Line = tuple[str, str]


@dataclass(frozen=True)
class Section:
    title: str
    lines: tuple[Line, ...]


def sections_of(assessment: Assessment) -> list[Section]:
    return [
        *(Section(capital(toe_name(toe.foot, toe.toe)), tuple(_toe(toe))) for toe in assessment.toes.all()),
        Section("Why surgery", tuple(_why(assessment))),
        *(Section(foot.get_foot_display(), tuple(_foot(foot))) for foot in assessment.feet.all()),
        Section("Health", tuple(_health(assessment))),
        Section("Allergies", tuple(_allergies(assessment))),
        Section("Weight", (("Weight", _weight(assessment)),)),
    ]


def _toe(toe: AssessedToe) -> Iterator[Line]:
    yield "Infection", toe.get_infection_display()
    yield "Infection of the bone suspected", toe.get_bone_infection_display()
    said = [toe.get_prior_surgery_display()]
    if words.PriorSurgery(toe.prior_surgery).treated:
        said.append(part_name(toe.prior_part) if toe.prior_part else "part not recorded")
        said.append(str(toe.prior_year) if toe.prior_year else "year not recorded")
        where = {Answer.YES: "by another provider", Answer.NO: "here"}
        said.append(where.get(Answer(toe.prior_elsewhere), "provider not recorded"))
    yield "Done to this nail before", ", ".join(said)


def _why(assessment: Assessment) -> Iterator[Line]:
    other = f": {assessment.indication_other}" if assessment.indication_other else ""
    further = _ticked(assessment, words.Topic.INDICATION)
    main = assessment.get_indication_display()
    in_further = words.Indication.OTHER.label in further
    yield "Main reason", main if in_further else f"{main}{other}"
    if further:
        yield "Further reasons", f"{listed(further)}{other if in_further else ''}"
    yield "Tried before surgery", _asked(assessment, words.Topic.CONSERVATIVE, none="nothing")
    yield "Symptoms for", _with_unit(assessment.symptoms_weeks, "weeks")
    yield "Look-alikes considered", listed(_ticked(assessment, words.Topic.LOOK_ALIKE)) or NOT_RECORDED


def _foot(foot: FootFinding) -> Iterator[Line]:
    yield "Dorsalis pedis pulse", foot.get_dorsalis_pedis_display()
    yield "Posterior tibial pulse", foot.get_posterior_tibial_display()
    yield "Doppler signal", foot.get_doppler_display()
    yield "ABPI", NOT_RECORDED if foot.abpi is None else f"{foot.abpi:.2f}"
    yield "Toe pressure", _with_unit(foot.toe_pressure, "mmHg")
    yield "TBI", NOT_RECORDED if foot.tbi is None else f"{foot.tbi:.2f}"
    yield "Ankle pressure", _with_unit(foot.ankle_pressure, "mmHg")
    measured = (foot.abpi, foot.toe_pressure, foot.tbi, foot.ankle_pressure)
    if any(value is not None for value in measured):
        yield "Ratios and pressures measured on", _on(foot.measured_on)
    yield "Monofilament sites felt", _with_unit(foot.monofilament_sites, "of 10")


def _health(assessment: Assessment) -> Iterator[Line]:
    yield "Diabetes", assessment.get_diabetes_display()
    yield "Foot risk category", assessment.get_foot_risk_display()
    yield "HbA1c", _result(assessment.hba1c, assessment.hba1c_on, assessment.get_hba1c_unit_display())
    yield "Medicines against clotting", _asked(assessment, words.Topic.ANTITHROMBOTIC)
    yield "INR", _result(assessment.inr, assessment.inr_on)
    yield "Immune system suppressed", assessment.get_immunosuppression_display()
    yield "Conditions", _asked(assessment, words.Topic.CONDITION)
    yield "Pregnant", assessment.get_pregnancy_display()
    yield "Breastfeeding", assessment.get_breastfeeding_display()
    yield "Tobacco", assessment.get_tobacco_display()


def _allergies(assessment: Assessment) -> Iterator[Line]:
    items = [item for item in assessment.items.all() if item.topic == words.Topic.ALLERGY]
    present = [item for item in items if item.answer == Answer.YES]
    for item in present:
        yield label_of(words.Allergen, item.code), item.get_reaction_display() or "reaction not recorded"
    if not present and not assessment.allergy_words:
        yield "Allergies", _of_none(items, none="none known")
    if assessment.allergy_words:
        yield "In words", assessment.allergy_words


def _weight(assessment: Assessment) -> str:
    if assessment.weight_kg is None:
        return NOT_RECORDED
    how = small(assessment.get_weight_basis_display())
    return f"{plain(assessment.weight_kg)} kg, {how}, {_on(assessment.weight_on)}"


def _ticked(assessment: Assessment, topic: words.Topic) -> list[str]:
    """Labels of what is present, in the order of the vocabulary."""
    present = {item.code for item in assessment.items.all() if item.topic == topic and item.answer == Answer.YES}
    return [term.label for term in topic.terms if term.value in present]


def _asked(assessment: Assessment, topic: words.Topic, none: str = "none of those asked about") -> str:
    return listed(_ticked(assessment, topic)) or _of_none(
        [item for item in assessment.items.all() if item.topic == topic], none=none
    )


def _of_none(items: list[AssessmentItem], *, none: str) -> str:
    """Where nothing is present: asked and absent, not asked, or not recorded."""
    answers = {item.answer for item in items}
    if answers == {Answer.NO.value}:
        return none
    return "not asked" if answers == {Answer.NOT_ASSESSED.value} else NOT_RECORDED


def _with_unit(value: int | None, unit: str) -> str:
    return NOT_RECORDED if value is None else f"{value} {unit}"


def _result(value: Decimal | None, on: date | None, unit: str = "") -> str:
    if value is None:
        return NOT_RECORDED
    return f"{plain(value)}{f' {unit}' if unit else ''}, {_on(on)}"


def _on(day: date | None) -> str:
    return say_day(day) if day else "date not recorded"


# --- consent


def consent_lines(consent: Consent) -> list[Line]:
    again = "not yet"
    if consent.reconfirmed_on:
        again = f"{say_day(consent.reconfirmed_on)}, {consent.reconfirmed_by}"
    return [
        ("Said by the patient", capital(site_name(consent.foot, consent.toe, consent.part))),
        ("Intent", consent.get_intent_display()),
        ("Consent given by", consent.get_given_by_display()),
        ("Talked about", f"{say_day(consent.discussed_on)}, {consent.discussed_by}"),
        ("Confirmed on the day", again),
        ("Consent to photographs", consent.get_photographs_display()),
        ("Interpreter", consent.get_interpreter_display()),
    ]


def points_of(consent: Consent) -> tuple[list[str], list[str]]:
    """Labels of what was talked about, and of what was not ticked."""
    ticked = {element.code for element in consent.elements.all()}
    points = list(words.ConsentPoint)
    return [each.label for each in points if each.value in ticked], [
        each.label for each in points if each.value not in ticked
    ]
