"""What stands before an operation, for the patient's page."""

from dataclasses import dataclass

from django import template
from django.utils import timezone

from clinic.patients.models import Patient
from clinic.preparation.clearance import newest_assessment, states_of
from clinic.preparation.models import Assessment, Consent
from clinic.vocabulary import sites

register = template.Library()


@dataclass(frozen=True)
class Before:
    """assessment: the newest that stands. still_open: its flags nobody has dealt with. consents: newest first."""

    assessment: Assessment | None
    still_open: int
    consents: list[Consent]


@register.simple_tag
def before_an_operation(patient: Patient) -> Before:
    today = timezone.localdate()
    assessment = newest_assessment(patient, today)
    states = states_of(assessment, today) if assessment else []
    consents = list(patient.consents.standing().order_by("-discussed_on", "-pk"))
    return Before(assessment, sum(state.is_open for state in states), consents)


@register.filter
def consent_site(consent: Consent) -> str:
    """'Right 1st toe (hallux), fibular (lateral) side'."""
    return sites.capital(sites.site_name(consent.foot, consent.toe, consent.part))
