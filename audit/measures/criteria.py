"""The criteria of the yearly audit: what is asked of whom, what is expected, and whether it was met."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from audit.measures.process import CRITERIA
from audit.measures.standards import Direction, Standard
from clinic.vocabulary import sources as s


class Finding(StrEnum):
    """Where a result stands against its target."""

    MET = "met"
    NOT_MET = "not met"
    CANNOT_TELL = "cannot tell"
    WATCHED = "watched, no target"
    NO_CASE = "no case"


@dataclass(frozen=True)
class AuditCriterion:
    """One criterion as shipped. target: a share, 0 to 1, or for `counts` the highest number accepted; None if watched.

    of: codes of the definitions it rests on. source: where the target comes from.
    definition: what it says besides them.
    """

    code: str
    label: str
    numerator: str
    denominator: str
    direction: Direction
    target: float | None
    source: str
    of: tuple[str, ...]
    counts: bool = False
    definition: str = ""


@dataclass(frozen=True)
class Verdict:
    finding: Finding
    reason: str


_USUAL = s.COMMON_PRACTICE.citation


def _process() -> tuple[AuditCriterion, ...]:
    """Whatever criteria of process are counted, each with its usual target."""
    return tuple(
        AuditCriterion(
            each.code,
            each.label,
            each.numerator,
            each.denominator,
            Direction.AT_LEAST,
            each.target,
            _USUAL,
            ("process",),
            definition=each.definition,
        )
        for each in CRITERIA
    )


SHIPPED: tuple[AuditCriterion, ...] = (
    *_process(),
    AuditCriterion(
        "O1", "First redress within its window", "looked at on day 1 to 10", "nail procedures whose window has closed",
        Direction.AT_LEAST, 0.95, _USUAL, ("review_done",),
    ),
    AuditCriterion(
        "O2", "Infection within 30 days, by rule A", "rule A", "nail procedures with a contact on day 1 to 30",
        Direction.AT_MOST, 0.05, _USUAL, (),
    ),
    AuditCriterion(
        "O3", "Antibiotic within 30 days", "given by anybody for any reason",
        "nail procedures with a contact on day 1 to 30", Direction.MONITOR, None, _USUAL, (),
    ),
    AuditCriterion(
        "O4", "Healed in time", "dry by day 56 (partial) or 84 (total)", "nail procedures of which it is known",
        Direction.AT_LEAST, 0.90, _USUAL, ("healing", "healed_in_time"),
    ),
    AuditCriterion(
        "O5", "Symptomatic recurrence at 12 months", "symptomatic recurrence by day 425",
        "treated sides with matricectomy and a known outcome", Direction.AT_MOST, 0.05, _USUAL,
        ("symptomatic_recurrence", "window", "eligible", "matricectomy", "curve"),
    ),
    AuditCriterion(
        "O6", "Any regrowth at 12 months", "a spicule, a strip or full-width nail by day 425",
        "treated sides with matricectomy and a known outcome", Direction.AT_MOST, 0.10, _USUAL,
        ("any_regrowth", "window", "eligible", "matricectomy", "curve"),
    ),
    AuditCriterion(
        "O7", "Re-operation at 12 months", "second procedure on the same side by day 425",
        "treated sides with matricectomy and a known outcome", Direction.AT_MOST, 0.03, _USUAL,
        ("re_operation", "window", "eligible", "matricectomy", "curve"),
    ),
    AuditCriterion(
        "O8", "Outcome known at 12 months", "outcome known",
        "treated sides whose window has closed, with and without matricectomy",
        Direction.AT_LEAST, 0.80, "Attrition above 20 % is serious: Sackett DL et al. 1997 (a convention)",
        ("window", "eligible", "loss"),
    ),
    AuditCriterion(
        "O9", "Unplanned contact within 30 days", "came or called unasked", "operations at least 30 days old",
        Direction.MONITOR, None, _USUAL, ("unplanned",),
    ),
    AuditCriterion(
        "O10", "Satisfied or very satisfied", "satisfied or very satisfied", "nail procedures with an answer",
        Direction.AT_LEAST, 0.90, _USUAL, ("satisfied",),
    ),
    AuditCriterion(
        "S1", "Serious incidents", "serious events, as defined", "operations",
        Direction.AT_MOST, 0.0, _USUAL, ("serious",), counts=True,
    ),
)  # fmt: skip
BY_CODE: Mapping[str, AuditCriterion] = {each.code: each for each in SHIPPED}
OUTCOME_CRITERIA = {"O5": "symptomatic_recurrence", "O6": "any_regrowth", "O7": "re_operation"}


def shipped_standards() -> tuple[Standard, ...]:
    return tuple(Standard(each.code, each.direction, each.target, each.source) for each in SHIPPED)


def judged(standard: Standard, events: int, total: int, low: float | None, high: float | None) -> Verdict:
    """The verdict on a share, by rule.

    events of total: whole numbers. low, high: the 95 % interval, None where there is none.
    """
    if not total:
        return Verdict(Finding.NO_CASE, "nothing to count in the period")
    if standard.target is None or standard.direction is Direction.MONITOR:
        return Verdict(Finding.WATCHED, "no target is set")
    if standard.direction is Direction.AT_LEAST and standard.target >= 1:
        missed = total - events
        return (
            Verdict(Finding.NOT_MET, f"missing in {missed} of {total}") if missed
            else Verdict(Finding.MET, "none is missing")
        )  # fmt: skip
    if standard.direction is Direction.AT_MOST and standard.target <= 0:
        return Verdict(Finding.NOT_MET, f"{events} seen") if events else Verdict(Finding.MET, "none seen")
    if low is None or high is None:
        return Verdict(Finding.CANNOT_TELL, "too few for an interval")
    at_least = standard.direction is Direction.AT_LEAST
    if (low >= standard.target) if at_least else (high <= standard.target):
        return Verdict(Finding.MET, "the whole interval lies within the target")
    if (high < standard.target) if at_least else (low > standard.target):
        return Verdict(Finding.NOT_MET, "the whole interval lies beyond the target")
    return Verdict(Finding.CANNOT_TELL, "the interval includes the target")


def judged_count(standard: Standard, number: int) -> Verdict:
    """The verdict on a number of cases that should not happen at all, or not more often than the target says."""
    if standard.target is None or standard.direction is Direction.MONITOR:
        return Verdict(Finding.WATCHED, "no target is set")
    if number <= standard.target:
        return Verdict(Finding.MET, "none on record" if not number else f"{number} on record")
    return Verdict(Finding.NOT_MET, f"{number} on record, each to be reviewed")
