"""The columns of a peer set, each declared once: what it holds, who may know it, why it is there. Knows no Django.

Names of columns and the order are part of the format: a change needs a new FORMAT_VERSION.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from audit.exchange.words import (
    AgeBand,
    EarlyContact,
    Exposure,
    Hidden,
    WiderAgent,
    WiderReason,
    WiderSide,
    WiderTechnique,
    YesNo,
)
from audit.measures.definitions import HowKnown, Outcome, Status
from audit.measures.infection import Flag
from clinic.vocabulary import procedure, review
from clinic.vocabulary.terms import Term

FORMAT = "nail-surgery-peer-set"
FORMAT_VERSION = "1"
FILE = "sides.csv"

RANDOM_CODES = ("row_code", "patient_code", "toe_code")
KEY = r"[2-9a-hjkmnp-z]{10}"
YEAR = r"[12][0-9]{3}-(0[1-9]|1[0-2])/[12][0-9]{3}-(0[1-9]|1[0-2])"
# Days since operation are given only as one of these, so that nobody's appointments stand in a row.
DAY_LIMITS = (0, 10, 28, 42, 56, 84, 180, 334, 365, 425, 730, 1095)
MOST_SECONDS = 12_000


class Holds(StrEnum):
    PATTERN = "text of a fixed pattern"
    CODE = "a code"
    WHOLE = "a whole number"
    NUMBER = "a number with one decimal"
    DAY = "a limit of days"


class Known(StrEnum):
    """Who can know the value of a patient from elsewhere; this decides how a column is protected."""

    NOBODY = "nobody: random, made for this file alone"
    OUTSIDER = "an outsider may know it: widened until enough patients look alike"
    CLINIC = (
        "only the clinic knows it: agent and time of exposure are kept while they do not tell an outcome, "
        "the rest is kept as it is"
    )
    OUTCOME = "the outcome itself: what must not be learnt about a person"


@dataclass(frozen=True)
class Field:
    """One column.

    blank: what an empty cell means; empty text where a cell is never empty. terms: code lists, in order.
    low, high: both belong to the range. why: what a reader of the file needs it for.
    """

    name: str
    title: str
    meaning: str
    holds: Holds
    known: Known
    why: str
    terms: tuple[type[Term], ...] = ()
    unit: str = ""
    blank: str = ""
    low: float | None = None
    high: float | None = None
    pattern: str = ""

    @property
    def codes(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(code for terms in self.terms for code in terms.codes()))

    @property
    def labels(self) -> Mapping[str, str]:
        """Label by code."""
        return MappingProxyType({term.value: term.label for terms in self.terms for term in terms})

    def words(self, value: str) -> str:
        """The value as people read it."""
        return self.labels.get(value, value) if value else self.blank


def _key(name: str, title: str, meaning: str) -> Field:
    why = "rows can be told apart and belong together"
    return Field(name, title, meaning, Holds.PATTERN, Known.NOBODY, why, pattern=KEY)


def _code(name: str, title: str, meaning: str, known: Known, why: str, *terms: type[Term], blank: str = "") -> Field:
    return Field(name, title, meaning, Holds.CODE, known, why, terms=terms, blank=blank)


def _whole(name: str, title: str, meaning: str, unit: str, low: float, high: float, blank: str, why: str) -> Field:
    return Field(
        name, title, meaning, Holds.WHOLE, Known.CLINIC, why, unit=unit, blank=blank, low=low, high=high
    )  # fmt: skip


def _day(name: str, title: str, meaning: str, blank: str) -> Field:
    return Field(
        name, title, meaning, Holds.DAY, Known.OUTCOME, "time to the outcome", unit="days since operation",
        blank=blank, low=DAY_LIMITS[0], high=DAY_LIMITS[-1],
    )  # fmt: skip


def _outcome(outcome: Outcome) -> Iterator[Field]:
    name, title = outcome.value, outcome.label
    yield _code(name, f"{title} at 12 months", f"Where the side stands. {outcome.meaning}.", Known.OUTCOME,
                "the outcome", Status)  # fmt: skip
    yield _code(f"{name}_known_by", f"{title}: how known", "What the status rests on", Known.OUTCOME,
                "who assessed", HowKnown)  # fmt: skip
    yield _code(f"{name}_examined", f"{title}: examined", "Whether a clinician saw the side", Known.OUTCOME,
                "examined apart from reported", YesNo)  # fmt: skip
    yield _code(f"{name}_late", f"{title}: after the window", "First seen after the outcome window", Known.OUTCOME,
                "the worst case", YesNo)  # fmt: skip


def _interval(outcome: Outcome) -> Iterator[Field]:
    name, title = outcome.value, outcome.label
    yield _day(
        f"{name}_not_by_day", f"{title}: not by day", "The side was seen clear on this day or later", "never seen clear"
    )
    yield _day(f"{name}_by_day", f"{title}: by day", "First seen on this day or earlier", "not seen")


def _flag(flag: Flag) -> Field:
    blank = "no contact on day 1 to 30, so nobody can say"
    return _code(f"infection_{flag.value}", flag.label, flag.meaning, Known.OUTCOME, "infection by each rule", YesNo,
                 blank=blank)  # fmt: skip


FIELDS: tuple[Field, ...] = (
    _key("row_code", "Row", "One treated side; random for this file"),
    _key("patient_code", "Patient", "Rows with one code are of one patient; a patient may have several codes"),
    _key("toe_code", "Nail procedure", "Rows with one code are sides of one toe at one operation"),
    Field("audit_year", "Audit year", "First and last month of the audited period", Holds.PATTERN, Known.OUTSIDER,
          "which year is compared", pattern=YEAR),
    _code("age_band", "Age band", "Age at the first operation of the period", Known.OUTSIDER, "case mix", AgeBand),
    _code("technique", "Technique", "What was done to the toe", Known.OUTSIDER, "compared by technique",
          procedure.Technique, WiderTechnique),
    _code("side", "Side", "The treated side; the foot and the toe are not told", Known.OUTSIDER, "compared by side",
          procedure.NailSide, WiderSide),
    _code("matrix_destroyed", "Matrix destroyed", "Regrowth counts only where the matrix was destroyed",
          Known.OUTSIDER, "the denominator", YesNo),
    _code("agent", "Agent", "Chemical agent", Known.CLINIC, "compared by agent", procedure.Agent, WiderAgent, Hidden),
    Field("strength_percent", "Strength", "Strength of the agent", Holds.NUMBER, Known.CLINIC, "dose", unit="%",
          blank="not recorded, no agent, or the agent is not named", low=0.1, high=100),
    _code("strength_basis", "Basis of the strength", "Grams in 100 grams or in 100 millilitres", Known.CLINIC,
          "dose", procedure.StrengthBasis, Hidden),
    _code("exposure", "Exposure", "Whether the time of exposure is known", Known.CLINIC,
          "missing apart from none", Exposure, Hidden),
    _whole("applications", "Applications", "How often the agent was applied", "", 1, 20,
           "see exposure; or only the total is known", "exposure as number times seconds"),
    _whole("seconds_each", "Seconds each", "Seconds of one application", "s", 1, 600,
           "see exposure; or they were not alike", "exposure as number times seconds"),
    _whole("exposure_seconds", "Exposure in all", "Seconds of all applications together", "s", 1, MOST_SECONDS,
           "see exposure", "compared by exposure"),
    _code("curettage", "Curettage", "Scraping of the matrix", Known.CLINIC, "technique", procedure.Curettage),
    _code("lavage", "Lavage", "Irrigation after the agent", Known.CLINIC, "technique", procedure.Lavage, Hidden),
    _code("infection_at_operation", "Toe before the operation", "State of the toe before the first incision",
          Known.CLINIC, "infection that was there before", procedure.LocalInfection),
    *(field for outcome in Outcome for field in _outcome(outcome)),
    _code("loss_reason", "Why lost", "Why an outcome is not known", Known.OUTCOME, "loss to follow-up",
          review.LossReason, WiderReason, blank="no outcome of this side is lost"),
    *_interval(Outcome.ANY_REGROWTH),
    *_interval(Outcome.SYMPTOMATIC_RECURRENCE),
    _day("healed_not_by_day", "Healed: not by day", "Seen not healed on this day or later", "never seen open"),
    _day("healed_by_day", "Healed: by day", "First seen healed on this day or earlier", "not seen healed"),
    _code("early_contact", "Contact on day 1 to 30", "Whether infection could have been seen", Known.OUTCOME,
          "the denominator of infection", EarlyContact),
    *(_flag(flag) for flag in Flag),
)  # fmt: skip

BY_NAME: Mapping[str, Field] = MappingProxyType({field.name: field for field in FIELDS})
NAMES = tuple(BY_NAME)
OUTSIDER = tuple(field.name for field in FIELDS if field.known is Known.OUTSIDER)

# What a record holds and a file never does, with the reason told to the lead.
LEFT_OUT: Mapping[str, str] = MappingProxyType(
    {
        "Name, date of birth, contact details": "they name a person; the audit never sees them",
        "Record number": "it leads back to the record",
        "Dates": "the day of an operation is known to many; days since operation are told within wide limits",
        "Foot and toe": "neighbours see them; the comparison does not need them",
        "Sex, illnesses, medicines": "with few patients a year they would single people out",
        "Operator": "the practice is compared, not a person",
        "Notes": "free text may name people",
        "Batches": "a unique code, and tied to a day",
        "Photographs": "skin and shape can be recognised",
    }
)
