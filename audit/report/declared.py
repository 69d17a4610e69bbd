"""Every figure of the report, declared once: what is counted of what, by which definition and method, whose records."""

from collections.abc import Mapping
from dataclasses import dataclass

from audit.measures.definitions import DEFINITIONS, Definition

WILSON = "Wilson score interval, on the effective number of units where a patient has several"
NPMLE = "nonparametric maximum likelihood for interval-censored days; limits by drawing patients again"


@dataclass(frozen=True)
class Declared:
    """One figure. definitions: codes. records: what opens behind its numbers; empty where there is nobody to open."""

    code: str
    title: str
    numerator: str
    denominator: str
    method: str
    definitions: tuple[str, ...]
    records: str

    @property
    def defined(self) -> tuple[Definition, ...]:
        return tuple(item for item in DEFINITIONS.items if item.code in self.definitions)


_KNOWN = "units with a known outcome"
_UNITS = "the units with this status, each with the reason"
_TOES = "the nail procedures"


def _group(code: str, title: str, denominator: str = _KNOWN, *definitions: str) -> Declared:
    return Declared(
        code, title, "units with the outcome by day 425", denominator, WILSON,
        ("unit", "window", "eligible", "thin", *definitions), _UNITS,
    )  # fmt: skip


FIGURES: tuple[Declared, ...] = (
    _group(
        "headline", "The outcome at 12 months", "units with matricectomy and a known outcome", "matricectomy", "bounds"
    ),
    Declared("estimated", "Estimated over time", "sides with the outcome by each day", "all sides with matricectomy",
             NPMLE, ("curve", "matricectomy", "verdict"), "sides with a clear finding after the event"),
    _group("technique", "By technique and agent"),
    _group("exposure", "By exposure time", "partial avulsions with phenol and a known outcome", "bands"),
    _group("side", "By side"),
    _group("curettage", "By curettage"),
    _group("lavage", "By lavage"),
    _group("operator", "By operator", _KNOWN, "operator"),
    _group("toe", "By toe"),
    _group("year", "By audit year", _KNOWN, "year"),
    Declared("exposure_trend", "Exposure and regrowth", "odds per doubling of the seconds",
             "sides of one technique, agent and strength with a known outcome", "logistic regression, GEE or Firth",
             ("exposure_trend",), ""),
    Declared("flow", "From operated to analysed", "units at each step", "all units of the period", "counted",
             ("unit", "eligible", "censored", "matricectomy"), _UNITS),
    Declared("follow_up", "Outcome known at 12 months", "units with a known outcome", "units whose window has closed",
             WILSON, ("window", "eligible", "loss"), _UNITS),
    Declared("lost_and_seen", "Lost beside seen", "units with the trait", "units seen, and units lost", WILSON,
             ("lost_and_seen",), ""),
    Declared("infection", "Infection within 30 days", "nail procedures flagged by each rule",
             "nail procedures with a contact on day 1 to 30", WILSON, (),
             "nail procedures with what each review noted"),
    Declared("healing", "Healing", "days between the last look open and the first look healed",
             "nail procedures with a look that tells", NPMLE, ("healing",), _TOES),
    Declared("healed_in_time", "Healed in time", "dry by day 56 or 84", "nail procedures of which it is known", WILSON,
             ("healed_in_time",), _TOES),
    Declared("pain", "Pain", "score of the last review within each window", "nail procedures asked",
             "quartiles; Wilson score interval for a score of 4 or more", ("pain",), _TOES),
    Declared("reviews", "Reviews done", "nail procedures looked at within the window",
             "nail procedures whose window has closed", WILSON, ("review_done",), _TOES),
    Declared("unplanned", "Unplanned contacts", "operations with an unasked review or a reported problem",
             "operations at least 30 days old", WILSON, ("unplanned",), _TOES),
    Declared("satisfaction", "Satisfaction", "satisfied or very satisfied", "nail procedures with an answer", WILSON,
             ("satisfied",), _TOES),
    Declared("incidents", "Events and incidents", "events by kind and harm", "operations of the period", "counted",
             ("serious",), _TOES),
    Declared("process", "How operations were done", "nail procedures that meet the criterion",
             "nail procedures asked of", WILSON, ("process",), "the nail procedures that miss it"),
    Declared("quality", "Quality of the records", "nail procedures that a rule finds", "nail procedures of the period",
             "counted", (), _TOES),
    Declared("criteria", "Criteria and verdicts", "as each criterion says", "as each criterion says",
             "by rule, see the definition", ("verdict",), "as the figure of each criterion"),
)  # fmt: skip
BY_CODE: Mapping[str, Declared] = {each.code: each for each in FIGURES}
