"""Which records stand behind each number of a page: by group and status as they stand in an address."""

from collections.abc import Iterator
from typing import Any

from audit.measures.definitions import CENSORED, Status
from clinic.schedule import SCHEDULE

Plain = dict[str, Any]
Numbers = dict[tuple[str, str], list[str]]
TABLES = ("technique", "exposure", "side", "curettage", "lavage", "operator", "toe", "year")
SUMS = {
    "ascertained": (Status.EVENT, Status.CLEAR),
    "eligible": (Status.EVENT, Status.CLEAR, Status.LOST),
    "censored": CENSORED,
}
STATUS_WORDS = {
    "ascertained": "outcome known",
    "eligible": "eligible",
    "censored": "counted apart",
    "late_event": "first seen after the window",
    "contacted": "with a contact on day 1 to 30",
    "without_contact": "without a contact on day 1 to 30",
    "flagged": "flagged",
    "reported": "from a report alone",
    "units": "at this step",
    "to_check": "clear again after an event",
    "other": "without it",
    "between": "not known whether in time",
    "unknown": "not known",
    "not_asked": "not asked",
    "ended": "follow-up had ended",
    "seen": "with a look that tells",
    "events": "events",
    "serious": "serious",
    "missed": "not met",
    "met": "met",
    "apart": "counted apart",
    "found": "found",
    **{status.value: status.label.lower() for status in Status},
}


def outcome_numbers(piece: Plain) -> Numbers:
    """Units behind the numbers of one outcome."""
    found: Numbers = {}
    for group, row in counted(piece):
        records = row["records"]
        found.update({(group, status): keys for status, keys in records.items()})
        for name, parts in SUMS.items():
            found[group, name] = [key for part in parts for key in records.get(part.value, ())]
    found.update(_followed_up(piece["follow_up"]))
    for step in piece["flow"]["steps"]:
        found[f"flow/{step['code']}", "units"] = step["records"]["units"]
    found["estimated", "to_check"] = piece["estimated"]["records"]["to_check"]
    return found


def counted(piece: Plain) -> Iterator[tuple[str, Plain]]:
    """Every count with the name its records have in an address."""
    yield "headline", piece["headline"]
    yield "no_matricectomy", piece["no_matricectomy"]
    yield "examined", piece["follow_up"]["examined"]
    for code in TABLES:
        for row in piece[code]:
            yield f"{code}/{row['code']}", row


def _followed_up(parts: Plain) -> Numbers:
    """Known and lost as the follow-up card divides them."""
    found: Numbers = {
        (f"source/{part['code']}", "ascertained"): part["records"]["units"] for part in parts["by_source"]
    }
    found |= {(f"reason/{part['code']}", "lost"): part["records"]["units"] for part in parts["by_reason"]}
    known = [key for part in parts["by_source"] for key in part["records"]["units"]]
    lost = [key for part in parts["by_reason"] for key in part["records"]["units"]]
    examined = parts["examined"]["records"]
    seen = {key for status in SUMS["ascertained"] for key in examined[status.value]}
    found["follow_up", "ascertained"], found["follow_up", "lost"] = known, lost
    found["follow_up", "eligible"] = known + lost
    found["follow_up", "reported"] = [key for key in known if key not in seen]
    return found


def common_numbers(piece: Plain) -> Numbers:
    """Toes behind the numbers that all outcomes share."""
    found: Numbers = {("infection", name): keys for name, keys in piece["infection"]["records"].items()}
    for flag in piece["infection"]["flags"]:
        found[f"infection/{flag['code']}", "flagged"] = flag["records"]["flagged"]
    for group in piece["healing"]["groups"]:
        found[f"healing/{group['code']}", "seen"] = group["records"]["seen"]
    for name, tally in _tallies(piece):
        found |= {(name, status): keys for status, keys in tally["records"].items()}
    for point in piece["reviews"]:
        for part in point["by_source"]:
            found[f"reviews/{point['code']}/{part['code']}", "units"] = part["records"]["units"]
    found["incidents", "serious"] = piece["incidents"]["records"]["serious"]
    for row in piece["incidents"]["rows"]:
        found[f"incidents/{row['kind']}/{row['harm']}", "events"] = row["records"]["events"]
    for row in piece["quality"]:
        found[f"quality/{row['code']}", "found"] = row["records"]["found"]
    for row in piece["process"]:
        found |= {(f"process/{row['code']}", part): keys for part, keys in row["records"].items()}
    return found


def _tallies(piece: Plain) -> Iterator[tuple[str, Plain]]:
    yield "healed_in_time", piece["healing"]["in_time"]
    yield "unplanned", piece["unplanned"]
    yield "satisfaction", piece["satisfaction"]
    for each in piece["pain"]:
        yield f"pain/{each['code']}", each["notable"]
    for each in piece["reviews"]:
        yield f"reviews/{each['code']}", each["done"]


def is_common(group: str) -> bool:
    """Whether the numbers of this group are shared by all outcomes."""
    return group.split("/")[0] in {
        "infection", "healing", "healed_in_time", "unplanned", "satisfaction", "pain", "reviews", "incidents",
        "process", "quality",
    }  # fmt: skip


CRITERION_GROUPS = {
    "O1": f"reviews/{SCHEDULE[0].code}", "O2": "infection/rule_a", "O3": "infection/antibiotic", "O4": "healed_in_time",
    "O9": "unplanned", "O10": "satisfaction", "S1": "incidents",
}  # fmt: skip


def with_parts(row: Plain, query: Plain) -> Plain:
    """A criterion with the question of its records, and the group, status, size and word of each number behind it."""
    from audit.measures.criteria import OUTCOME_CRITERIA

    code = row["code"]
    if code == "O8":
        parts = [("follow_up", "ascertained", row["events"]), ("follow_up", "lost", row["total"] - row["events"])]
    else:
        group = "headline" if code in OUTCOME_CRITERIA else CRITERION_GROUPS.get(code, f"process/{code}")
        parts = [(group, status, len(keys)) for status, keys in row["records"].items()]
    named = [(group, status, number, STATUS_WORDS.get(status, status)) for group, status, number in parts if number]
    return {**row, "parts": named, "query": {**query, "outcome": OUTCOME_CRITERIA.get(code, query["outcome"])}}


def outcome_labels(piece: Plain) -> dict[str, str]:
    labels = {"follow_up": "Follow-up at 12 months", "estimated": "Estimated over time"}
    labels |= {group: row["label"] for group, row in counted(piece)}
    labels |= {f"source/{part['code']}": part["label"] for part in piece["follow_up"]["by_source"]}
    labels |= {f"reason/{part['code']}": part["label"] for part in piece["follow_up"]["by_reason"]}
    return labels | {f"flow/{step['code']}": step["label"] for step in piece["flow"]["steps"]}


def common_labels(piece: Plain) -> dict[str, str]:
    labels = {"infection": "Infection within 30 days", "incidents": "Serious incidents"}
    labels |= {f"infection/{flag['code']}": flag["label"] for flag in piece["infection"]["flags"]}
    labels |= {f"healing/{group['code']}": f"Healing. {group['label']}" for group in piece["healing"]["groups"]}
    labels |= {name: tally["label"] for name, tally in _tallies(piece)}
    for point in piece["reviews"]:
        for part in point["by_source"]:
            labels[f"reviews/{point['code']}/{part['code']}"] = f"{point['label']}. {part['label']}"
    labels |= {f"pain/{each['code']}": f"{each['notable']['label']}. {each['label']}" for each in piece["pain"]}
    for row in piece["incidents"]["rows"]:
        labels[f"incidents/{row['kind']}/{row['harm']}"] = f"{row['label']}, {row['harm_label'].lower()}"
    labels |= {f"quality/{row['code']}": row["label"] for row in piece["quality"]}
    return labels | {f"process/{row['code']}": f"{row['code']} {row['label']}" for row in piece["process"]}
