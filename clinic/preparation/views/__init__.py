"""Pages before an operation."""

from clinic.preparation.views.assessments import (
    assessment,
    assessment_change,
    assessment_new,
    assessment_strike,
    flag_decide,
)
from clinic.preparation.views.consents import (
    consent,
    consent_confirm,
    consent_new,
    consent_strike,
    consent_withdraw,
)

__all__ = [
    "assessment",
    "assessment_change",
    "assessment_new",
    "assessment_strike",
    "consent",
    "consent_confirm",
    "consent_new",
    "consent_strike",
    "consent_withdraw",
    "flag_decide",
]
