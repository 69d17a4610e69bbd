"""Consents in words."""

from django import template

from clinic.procedures.clearance import consent_dates, consent_words

register = template.Library()
register.filter(consent_dates)
register.filter(consent_words)
