"""The criteria with their results and verdicts, taken from the pieces of a report, and beside those of the last one."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from audit.charts.words import percent
from audit.measures.criteria import (
    BY_CODE,
    OUTCOME_CRITERIA,
    SHIPPED,
    AuditCriterion,
    Finding,
    Verdict,
    judged,
    judged_count,
)
from audit.measures.over_time import HORIZON
from audit.measures.standards import Direction, Standard
from audit.report.plain import RECORDS

Plain = dict[str, Any]


def criteria_table(outcomes: Mapping[str, Plain], common: Plain, standards: Iterable[Standard]) -> list[Plain]:
    """One row per criterion, in order. outcomes: pieces per treated side by outcome. common: the shared piece."""
    expected = {standard.code: standard for standard in standards}
    return [_row(each, expected[each.code], outcomes, common) for each in SHIPPED]


def _row(criterion: AuditCriterion, standard: Standard, outcomes: Mapping[str, Plain], common: Plain) -> Plain:
    result = _result(criterion, outcomes, common)
    verdict = _verdict(criterion, standard, result, outcomes)
    return {
        "code": criterion.code,
        "label": criterion.label,
        "numerator": criterion.numerator,
        "denominator": criterion.denominator,
        "direction": standard.direction.value,
        "target": standard.target,
        "source": standard.source,
        "version": standard.version,
        "definitions": list(criterion.of),
        "definition": criterion.definition,
        "counts": criterion.counts,
        **result,
        "verdict": verdict.finding.value,
        "reason": verdict.reason,
    }


def _result(criterion: AuditCriterion, outcomes: Mapping[str, Plain], common: Plain) -> Plain:
    """events of total with limits, where the records are, and how many stand apart for which reason."""
    code = criterion.code
    if code == "S1":
        found = common["incidents"]
        return _numbers(found["serious"], found["operations"], None, {"serious": found[RECORDS]["serious"]}, {})
    if code in OUTCOME_CRITERIA:
        found = outcomes[OUTCOME_CRITERIA[code]]["headline"]
        keys = {name: found[RECORDS].get(name, []) for name in ("event", "clear", "lost")}
        return _numbers(found["events"], found["ascertained"], found["interval"], keys, _aside(found, *_WITHOUT))
    if code == "O8":
        found = outcomes["symptomatic_recurrence"]["follow_up"]
        keys = {part["code"]: part[RECORDS]["units"] for part in found["by_reason"] if part["units"]}
        return _numbers(found["ascertained"], found["eligible"], found["completeness"], keys, _aside(found, "pending"))
    if code in {"O2", "O3"}:
        wanted = "rule_a" if code == "O2" else "antibiotic"
        flag = next(flag for flag in common["infection"]["flags"] if flag["code"] == wanted)
        apart = _aside(common["infection"], "without_contact", "pending")
        return _numbers(flag["events"], flag["total"], flag["interval"], flag[RECORDS], apart)
    if code in _TALLIES:
        found = _TALLIES[code](common)
        return _numbers(found["events"], found["total"], found["interval"], found[RECORDS], found["apart"])
    found = next(each for each in common["process"] if each["code"] == code)
    apart = {found["apart_because"]: found["apart"]}
    return _numbers(found["events"], found["total"], found["interval"], found[RECORDS], apart)


_WITHOUT = ("lost", "pending", "censored")
_TALLIES: Mapping[str, Callable[[Plain], Plain]] = {
    "O1": lambda common: common["reviews"][0]["done"],
    "O4": lambda common: common["healing"]["in_time"],
    "O9": lambda common: common["unplanned"],
    "O10": lambda common: common["satisfaction"],
}
_APART_WORDS = {
    "between": "healed between two looks, one before and one after the last day in time",
    "unknown": "not known",
    "not_asked": "no answer on record",
    "ended": "follow-up had ended",
    "without_contact": "no contact on day 1 to 30",
    "censored": "died, amputated or operated on again before",
}


def _aside(found: Plain, *names: str) -> dict[str, int]:
    return {name: found[name] for name in names}


def _numbers(events: int, total: int, interval: Plain | None, keys: Plain, apart: Mapping[str, int]) -> Plain:
    """apart: how many are in neither events nor total, by reason; a share that leaves many out must say so."""
    limits = interval or {}
    reasons = {name: number for name, number in apart.items() if number}
    said = ", ".join(f"{number} {_APART_WORDS.get(name, name)}" for name, number in reasons.items())
    return {
        "events": events,
        "total": total,
        "rate": limits.get("rate"),
        "low": limits.get("low"),
        "high": limits.get("high"),
        "method": limits.get("method", ""),
        "apart_units": sum(reasons.values()),
        "apart": f"counted apart: {said}" if reasons else "",
        RECORDS: {name: list(found) for name, found in keys.items()},
    }


def _verdict(criterion: AuditCriterion, standard: Standard, result: Plain, outcomes: Mapping[str, Plain]) -> Verdict:
    if criterion.counts:
        if not result["total"]:
            return Verdict(Finding.NO_CASE, "no operation in the period")
        return judged_count(standard, result["events"])
    if criterion.code in OUTCOME_CRITERIA and standard.direction is Direction.AT_MOST and standard.target:
        return _estimated(outcomes[OUTCOME_CRITERIA[criterion.code]])
    return judged(standard, result["events"], result["total"], result["low"], result["high"])


def _estimated(piece: Plain) -> Verdict:
    """The primary question is answered on the estimate over time, and only if the unseen could not change it.

    The reason says the estimate, because it is not the share of the known that stands beside it.
    """
    if not piece["headline"]["eligible"]:
        return Verdict(Finding.NO_CASE, "nobody's window has closed")
    found = piece["estimated"]["verdict"]
    estimate = _estimate_words(piece["estimated"])
    if found["depends"]:
        return Verdict(Finding.CANNOT_TELL, f"{estimate}: {found['verdict']}")
    words = {"met": Finding.MET, "not_met": Finding.NOT_MET, "not_shown": Finding.CANNOT_TELL}
    reason = f"{estimate}: {found['reason']}" if found["reason"] else estimate
    return Verdict(words[found["code"]], reason)


def _estimate_words(estimated: Plain) -> str:
    day = next((each for each in estimated["all"]["days"] if each["day"] == HORIZON), None)
    if day is None or day["low"] is None or day["high"] is None:
        return "on the estimate over time"
    share = [day["lower_bound"], day["upper_bound"]] if day["is_range"] else [day["risk"]]
    limits = " to ".join(percent(each) for each in (day["low"], day["high"]))
    return f"estimated over time {' to '.join(map(percent, share))} ({limits}) by day {HORIZON:.0f}"


def beside(now: Sequence[Plain], before: Plain | None) -> list[Plain]:
    """Each row with the result of the year before, or with the reason why both are not comparable.

    before: the figures of a signed report; None where there is none.
    """
    return [{**row, "before": _before(row, before)} for row in now]


def _before(row: Plain, figures: Plain | None) -> Plain:
    if figures is None:
        return {"said": "no signed report", "row": None}
    found = next((each for each in figures["criteria"] if each["code"] == row["code"]), None)
    if found is None:
        return {"said": "not asked then", "row": None}
    changed = changed_definitions(row["definitions"], figures["definitions"])
    if changed:
        labels = ", ".join(changed)
        return {"said": f"not comparable: defined otherwise then ({labels})", "row": found}
    asked = ("numerator", "denominator", "definition")
    if any(found.get(name) != row[name] for name in asked):
        return {"said": "not comparable: asked otherwise then", "row": found}
    return {"said": "", "row": found}


def changed_definitions(codes: Iterable[str], then: Sequence[Plain]) -> list[str]:
    """Labels of the definitions that read otherwise in an earlier report."""
    from audit.measures.definitions import DEFINITIONS

    today = {item.code: item for item in DEFINITIONS.items}
    earlier = {item["code"]: item["sentence"] for item in then}
    return [today[code].label for code in codes if code in today and earlier.get(code) != today[code].sentence]


__all__ = ["BY_CODE", "beside", "changed_definitions", "criteria_table"]
