"""Where the report says what reporting guidelines ask for. Items in our own words."""

from dataclasses import dataclass

from clinic.vocabulary.terms import Source

SQUIRE = Source("Ogrinc G et al. SQUIRE 2.0. BMJ Qual Saf 2016;25:986-992", "items in our own words")
STROBE = Source("von Elm E et al. STROBE. 2007", "items from memory, unverified")


@dataclass(frozen=True)
class Item:
    """asks: what a reader wants to know. where: the heading of the report under which it stands."""

    guideline: str
    asks: str
    where: str


ITEMS = (
    Item("SQUIRE", "Problem and why it matters", "Why this audit"),
    Item("SQUIRE", "Reasoning behind the criteria and their targets", "Criteria and verdicts"),
    Item("SQUIRE", "Setting", "Why this audit"),
    Item("SQUIRE", "What was changed since the last audit", "Actions"),
    Item("SQUIRE", "How the effect of a change is judged", "Actions"),
    Item("SQUIRE", "Measures and their definitions", "Definitions"),
    Item("SQUIRE", "Results with what was missing", "What was left out"),
    Item("SQUIRE", "Interpretation", "What the results mean"),
    Item("SQUIRE", "Limits", "Limits of these figures"),
    Item("STROBE", "Period, place and who was eligible", "From operated to analysed"),
    Item("STROBE", "Follow-up, and how outcomes became known", "What was left out"),
    Item("STROBE", "Numbers at each stage", "From operated to analysed"),
    Item("STROBE", "Missing data for each detail", "Quality of the records"),
    Item("STROBE", "How groups were chosen and bias addressed", "Limits of these figures"),
    Item("STROBE", "Statistical methods", "How it was counted"),
    Item("STROBE", "Unadjusted results with intervals", "Results by group"),
)
