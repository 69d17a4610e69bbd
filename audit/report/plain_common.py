"""What does not depend on the outcome asked for, as plain values: healing, pain, visits, events, process."""

from audit.measures.afterwards import Incidents
from audit.measures.flow import Flow
from audit.measures.healing import HealingTimes
from audit.measures.lost_and_seen import LostAndSeen
from audit.measures.pain import PainAt
from audit.measures.process import Met
from audit.measures.quality import Found
from audit.measures.visits import PointDone
from audit.report.plain import RECORDS, Plain, part, proportion, rounded, tally
from audit.stats.quantiles import DayOfShare


def healing(found: HealingTimes) -> Plain:
    return {
        "groups": [
            {
                "code": group.code,
                "label": group.label,
                "toes": group.toes,
                "seen": group.seen,
                "healed": group.healed,
                "patients": group.patients,
                "quartiles": [_day(each) for each in group.quartiles],
                "first_seen": [rounded(day) for day in group.first_seen] if group.first_seen else None,
                RECORDS: {"seen": list(group.keys)},
            }
            for group in found.groups
        ],
        "in_time": tally(found.in_time),
    }


def _day(found: DayOfShare) -> Plain:
    return {
        "share": found.share,
        "after": rounded(found.start),
        "by": rounded(found.end),
        "low": rounded(found.low),
        "high": rounded(found.high),
        "sides": found.sides,
        "patients": found.patients,
        "withheld": found.withheld,
    }


def pain(found: tuple[PainAt, ...]) -> list[Plain]:
    return [
        {
            "code": each.code,
            "label": each.label,
            "scored": each.scored,
            "not_asked": each.not_asked,
            "lower": rounded(each.lower),
            "median": rounded(each.median),
            "upper": rounded(each.upper),
            "highest": rounded(each.highest),
            "notable": tally(each.notable),
        }
        for each in found
    ]


def reviews(found: tuple[PointDone, ...]) -> list[Plain]:
    return [
        {"code": each.code, "label": each.label, "done": tally(each.done),
         "by_source": [part(one) for one in each.by_source]} for each in found
    ]  # fmt: skip


def incidents(found: Incidents) -> Plain:
    return {
        "operations": found.operations,
        "serious": found.serious,
        "reviewed": found.reviewed,
        "rows": [
            {
                "kind": row.kind.value,
                "label": row.kind.label,
                "harm": row.harm.value,
                "harm_label": row.harm.label,
                "number": row.number,
                "reviewed": row.reviewed,
                RECORDS: {"events": list(row.keys)},
            }
            for row in found.rows
        ],
        RECORDS: {"serious": list(found.serious_keys)},
    }


def process(found: tuple[Met, ...]) -> list[Plain]:
    return [
        {
            "code": each.criterion.code,
            "label": each.criterion.label,
            "definition": each.criterion.definition,
            "numerator": each.criterion.numerator,
            "denominator": each.criterion.denominator,
            "apart": len(each.apart),
            "apart_because": each.criterion.apart,
            "events": each.met,
            "total": each.of,
            "patients": each.patients,
            "interval": proportion(each.found),
            RECORDS: {"met": list(each.met_keys), "missed": list(each.missed), "apart": list(each.apart)},
        }
        for each in found
    ]


def flow(found: Flow) -> Plain:
    return {
        "operations": found.operations,
        "toes": found.toes,
        "sides": found.sides,
        "patients": found.patients,
        "steps": [
            {"code": step.code, "label": step.label, "units": step.units, "patients": step.patients,
             "level": step.level, RECORDS: {"units": list(step.keys)}} for step in found.steps
        ],
    }  # fmt: skip


def lost_and_seen(found: LostAndSeen) -> Plain:
    return {
        "seen": found.seen,
        "lost": found.lost,
        "seen_age": [rounded(age) for age in found.seen_age] if found.seen_age else None,
        "lost_age": [rounded(age) for age in found.lost_age] if found.lost_age else None,
        "rows": [
            {"group": row.group, "label": row.label, "seen": row.seen, "lost": row.lost,
             "seen_share": proportion(row.seen_share), "lost_share": proportion(row.lost_share)} for row in found.rows
        ],
    }  # fmt: skip


def quality(found: tuple[Found, ...]) -> list[Plain]:
    return [
        {"code": each.rule.code, "label": each.rule.label, "meaning": each.rule.meaning,
         "weight": each.rule.weight.value, "number": len(each.keys), "of": each.of,
         RECORDS: {"found": list(each.keys)}} for each in found
    ]  # fmt: skip
