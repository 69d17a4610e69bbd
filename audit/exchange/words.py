"""Codes that stand only in a peer set, beside those of the vocabulary. Knows no Django."""

from collections.abc import Iterable
from datetime import date

from clinic.vocabulary import sources as s
from clinic.vocabulary.terms import Source, Term

K_ANONYMITY = Source("Sweeney L. Int J Uncertain Fuzz 2002;10:557-570", "idea; the bands are our own choice")


def period_words(audit_year: str) -> str:
    """“2023-04/2024-03” as people read it: “Apr 2023 to Mar 2024”."""
    first, last = (date.fromisoformat(f"{month}-01") for month in audit_year.split("/"))
    return f"{first:%b %Y} to {last:%b %Y}"


def in_order(audit_year: str) -> bool:
    """Whether the last month is the first or a later one."""
    first, last = audit_year.split("/")
    return first <= last


def overlap(one: str, other: str) -> bool:
    """Whether two periods have a month in common."""
    (first, last), (begins, ends) = one.split("/"), other.split("/")
    return first <= ends and begins <= last


def without_gaps(audit_years: Iterable[str]) -> tuple[str, ...]:
    """The periods in order; those that follow each other are one: a year and the next are the same as both in one."""
    found: list[str] = []
    for each in sorted(audit_years):
        first, last = each.split("/")
        if found and _next_month(found[-1].split("/")[1]) == first:
            found[-1] = f"{found[-1].split('/')[0]}/{last}"
        else:
            found.append(each)
    return tuple(found)


def _next_month(month: str) -> str:
    year, number = map(int, month.split("-"))
    return f"{year + number // 12}-{number % 12 + 1:02}"


class AgeBand(Term):
    """Age at the patient's first operation of the period. Narrow bands leave few patients alike."""

    UNDER_18 = "under_18", "Under 18", "Younger than 18 years", K_ANONYMITY
    ADULT_18_TO_64 = "18_to_64", "18 to 64", "18 to 64 years", K_ANONYMITY
    OVER_64 = "65_and_over", "65 and over", "65 years or older; no finer band for the very old", K_ANONYMITY
    ADULT = "18_and_over", "18 and over", "Widened: 18 years or older", K_ANONYMITY
    ANY = "any", "Any age", "Widened: the age is not told", K_ANONYMITY
    NOT_RECORDED = "not_recorded", "Not recorded", "The practice has no age on record", s.OWN_DESIGN

    @classmethod
    def of(cls, age_years: float | None) -> "AgeBand":
        """The narrow band of an age in whole years; None or not a number is "not recorded"."""
        if age_years is None or age_years != age_years:
            return cls.NOT_RECORDED
        if age_years < 18:
            return cls.UNDER_18
        return cls.ADULT_18_TO_64 if age_years < 65 else cls.OVER_64


class WiderSide(Term):
    EDGE = "edge", "An edge", "Widened: tibial or fibular, not told which", K_ANONYMITY


class WiderTechnique(Term):
    WITH_MATRICECTOMY = (
        "other_with_matricectomy", "Another technique with matricectomy",
        "Widened: a technique too rare to be named, the matrix was destroyed", K_ANONYMITY,
    )  # fmt: skip
    WITHOUT_MATRICECTOMY = (
        "other_without_matricectomy", "Another technique without matricectomy",
        "Widened: a technique too rare to be named, the matrix was left", K_ANONYMITY,
    )  # fmt: skip


class WiderAgent(Term):
    MERGED = "merged", "An agent not named", "Widened: one of the agents too rare to be named alone", K_ANONYMITY


class WiderReason(Term):
    MERGED = "merged", "A reason not named", "Widened: one of the reasons too rare to be named alone", K_ANONYMITY


class Hidden(Term):
    WITHHELD = (
        "withheld", "Withheld", "Recorded or not, it would tell the outcome of its patients or name a rare agent",
        K_ANONYMITY,
    )  # fmt: skip


class YesNo(Term):
    YES = "yes", "Yes", "It is so", s.OWN_DESIGN
    NO = "no", "No", "It is not so", s.OWN_DESIGN


class Exposure(Term):
    """Why a row has, or has not, a time of exposure; a gap alone would not say."""

    RECORDED = "recorded", "Recorded", "The seconds are in the row", s.OWN_DESIGN
    NOT_RECORDED = "not_recorded", "Not recorded", "An agent was used, its time was not written down", s.OWN_DESIGN
    NOT_APPLICABLE = "not_applicable", "Not applicable", "The technique uses no agent", s.OWN_DESIGN


class EarlyContact(Term):
    """Whether anybody saw or spoke to the patient in the days in which infection is looked for."""

    CONTACTED = "contacted", "Contact on day 1 to 30", "At least one review or report", s.OWN_DESIGN
    WITHOUT_CONTACT = "without_contact", "No contact on day 1 to 30", "Nobody looked, so no flag is known", s.OWN_DESIGN
    PENDING = "pending", "Pending", "The first 30 days were not over", s.OWN_DESIGN
