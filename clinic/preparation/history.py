"""Every later version of an assessment or a consent, as a list people can read."""

from typing import Any

from clinic.patients.changes import Step, newest_first, steps_of
from clinic.preparation.models import AssessedToe, Assessment, AssessmentItem, Consent, FootFinding
from clinic.vocabulary.preparation import Topic
from clinic.vocabulary.sites import capital, toe_name
from clinic.vocabulary.terms import label_of

ASSESSMENT_LABELS = {
    "assessed_on": "date of the assessment",
    "assessed_by": "assessed by",
    "indication": "main reason",
    "indication_other": "which other reason",
    "symptoms_weeks": "weeks of symptoms",
    "diabetes": "diabetes",
    "foot_risk": "foot risk category",
    "hba1c": "HbA1c",
    "hba1c_unit": "unit of the HbA1c",
    "hba1c_on": "date of the HbA1c",
    "inr": "INR",
    "inr_on": "date of the INR",
    "immunosuppression": "immune system suppressed",
    "pregnancy": "pregnant",
    "breastfeeding": "breastfeeding",
    "tobacco": "tobacco",
    "allergy_words": "allergies in words",
    "weight_kg": "weight in kg",
    "weight_basis": "how the weight is known",
    "weight_on": "date of the weight",
    "note": "note",
    "struck_reason": "struck out",
}
FOOT_LABELS = {
    "dorsalis_pedis": "dorsalis pedis pulse",
    "posterior_tibial": "posterior tibial pulse",
    "doppler": "Doppler signal",
    "abpi": "ABPI",
    "toe_pressure": "toe pressure in mmHg",
    "tbi": "TBI",
    "ankle_pressure": "ankle pressure in mmHg",
    "measured_on": "ratios and pressures measured on",
    "monofilament_sites": "monofilament sites felt of 10",
}
TOE_LABELS = {
    "infection": "infection",
    "bone_infection": "infection of the bone suspected",
    "prior_surgery": "done to this nail before",
    "prior_part": "at which part",
    "prior_year": "in which year",
    "prior_elsewhere": "by another provider",
}
ITEM_LABELS = {"answer": "answer", "reaction": "reaction"}
CONSENT_LABELS = {
    "reconfirmed_on": "confirmed on the day",
    "withdrawn_on": "withdrawn",
    "struck_reason": "struck out",
}


def history_of(assessment: Assessment) -> list[Step]:
    """Changes, newest first; what was there from the beginning stands on the page, but for toes, which come and go.

    Four queries.
    """
    own = _versions(Assessment, ("assessed_by",), id=assessment.pk)
    return newest_first(
        [
            *steps_of(own, ASSESSMENT_LABELS, with_first=False),
            *steps_of(
                _versions(FootFinding, assessment_id=assessment.pk),
                FOOT_LABELS,
                subject=lambda row: row.get_foot_display(),
                with_first=False,
            ),
            *steps_of(_versions(AssessedToe, assessment_id=assessment.pk), TOE_LABELS, subject=_toe),
            *steps_of(
                _versions(AssessmentItem, assessment_id=assessment.pk), ITEM_LABELS, subject=_item, with_first=False
            ),
        ]
    )


def history_of_consent(consent: Consent) -> list[Step]:
    return steps_of(_versions(Consent, id=consent.pk), CONSENT_LABELS, with_first=False)[::-1]


def _versions(model: Any, joined: tuple[str, ...] = (), **of: Any) -> list[Any]:
    return list(model.history.filter(**of).select_related("history_user", *joined).order_by("history_id"))


def _toe(row: Any) -> str:
    return capital(toe_name(row.foot, row.toe))


def _item(row: Any) -> str:
    topic = Topic(row.topic)
    return f"{topic.label}, {label_of(topic.terms, row.code)}"
