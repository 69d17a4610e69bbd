"""Toes, sides and techniques in words."""

from django import template

from clinic.procedures.models import NailProcedure
from clinic.reviews import sentences
from clinic.vocabulary.procedure import Agent, Technique
from clinic.vocabulary.terms import label_of

register = template.Library()

SHORT_TECHNIQUES = {
    Technique.PNA_CHEMICAL: "Partial avulsion",
    Technique.TNA_CHEMICAL: "Total avulsion",
    Technique.PNA_ONLY: "Partial avulsion, matrix left",
    Technique.TNA_ONLY: "Total avulsion, matrix left",
    Technique.WEDGE: "Wedge excision",
}


@register.filter
def site(nail: NailProcedure) -> str:
    return sentences.site(nail)


@register.filter
def toe_name(nail: NailProcedure) -> str:
    return sentences.toe_name(nail)


@register.filter
def technique_short(nail: NailProcedure) -> str:
    """'Partial avulsion, phenol'."""
    technique = Technique(nail.technique)
    said = SHORT_TECHNIQUES.get(technique, technique.label)
    with_agent = technique.takes_agent and nail.agent != Agent.NONE
    return f"{said}, {label_of(Agent, nail.agent).lower()}" if with_agent else said
