"""The records behind one number: when each was operated on, and why it counts as it does."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from audit.measures.definitions import Outcome
from audit.templatetags.audit_status import why
from clinic.vocabulary.procedure import TOES, Foot, LocalInfection, NailSide, Technique
from clinic.vocabulary.review import Antibiotic, Diagnosis, FluidColour, FluidConsistency, Healing, Signs, Swab
from clinic.vocabulary.terms import label_of

if TYPE_CHECKING:
    from audit.measures.columns import Cohort

# The rules of infection read no further.
LAST_DAY = 30


@dataclass(frozen=True)
class SideRecord:
    toe_key: str
    place: str
    status: str
    why: str


@dataclass(frozen=True)
class Record:
    """One unit behind a number: when it was operated on, and why it counts as it does."""

    key: str
    performed_on: date
    sides: tuple[SideRecord, ...]


def unit_records(frames: "Cohort", outcome_code: str, unit: str, group: str, keys: Sequence[str]) -> list[Record]:
    """The units behind a number of one outcome, in the order of operation."""
    from audit.measures.outcomes import side_states

    outcome = Outcome(outcome_code)
    column = "side_key" if group == "estimated" else f"{unit}_key"
    frames = of_keys(frames, column, keys)
    states = side_states(frames, outcome)
    by_unit: dict[str, list[Mapping[Any, Any]]] = {key: [] for key in keys}
    for side in frames.sides.to_dict("records"):
        if side[column] in by_unit:
            by_unit[side[column]].append(side)
    kept = {key: _of_one_kind(sides, group, column) for key, sides in by_unit.items()}
    found = [_record(key, sides, states, outcome) for key, sides in kept.items() if sides]
    return sorted(found, key=lambda record: (record.performed_on, record.key))


def of_keys(frames: "Cohort", column: str, keys: Sequence[str]) -> "Cohort":
    """Only the sides behind a number, with their findings."""
    sides = frames.sides[frames.sides[column].isin(keys)]
    findings = frames.findings[frames.findings["side_key"].isin(sides["side_key"])]
    return replace(frames, sides=sides, findings=findings)


def _of_one_kind(sides: list[Mapping[Any, Any]], group: str, column: str) -> list[Mapping[Any, Any]]:
    """A patient may have sides with and without matricectomy; they are never counted together."""
    if column != "patient_key":
        return sides
    wanted = not group.endswith("no_matricectomy")
    return [side for side in sides if side["matrix_destroyed"] == wanted] or sides


def _record(key: str, sides: list[Mapping[Any, Any]], states: Mapping[str, Any], outcome: Outcome) -> Record:
    lines = tuple(_side_record(side, states[side["side_key"]], outcome) for side in sides)
    return Record(key, min(side["performed_on"] for side in sides).date(), lines)


def _side_record(side: Mapping[Any, Any], state: Any, outcome: Outcome) -> SideRecord:
    place = f"{_toe(side)}, {label_of(NailSide, side['side']).lower()}"
    return SideRecord(side["toe_key"], place, state.status.label, why(outcome, state, side))


def _toe(side: Mapping[Any, Any]) -> str:
    return f"{label_of(Foot, side['foot'])}, {TOES[side['toe']]}"


def toe_records(frames: "Cohort", group: str, keys: Sequence[str]) -> list[Record]:
    """Toes with what their reviews noted, because infection, healing and pain are read from the components."""
    last = LAST_DAY if group.startswith("infection") else None
    seen: dict[str, list[str]] = {key: [] for key in keys}
    for finding in frames.toe_findings.sort_values(["day", "review_key"]).to_dict("records"):
        if finding["toe_key"] in seen and (last is None or finding["day"] <= last):
            words = wound_words(finding) if group.startswith("infection") else course_words(finding)
            seen[finding["toe_key"]].append(words)
    toes = frames.sides.drop_duplicates("toe_key").to_dict("records")
    found = [_toe_record(toe, group, seen[toe["toe_key"]]) for toe in toes if toe["toe_key"] in seen]
    return sorted(found, key=lambda record: (record.performed_on, record.key))


def _toe_record(toe: Mapping[Any, Any], group: str, seen: list[str]) -> Record:
    status = label_of(Technique, toe["technique"])
    if group.startswith("infection"):
        status = f"at operation: {label_of(LocalInfection, toe['infection_at_operation']).lower()}"
    words = ". ".join(seen) or "no contact on record"
    return Record(toe["toe_key"], toe["performed_on"].date(), (SideRecord(toe["toe_key"], _toe(toe), status, words),))


def wound_words(finding: Mapping[Any, Any]) -> str:
    """What one review noted of the signs of infection. finding: a row of the cohort's toe findings."""
    fluid = (
        f"{label_of(FluidColour, finding['fluid_colour'])}, {label_of(FluidConsistency, finding['fluid_consistency'])}"
    )
    antibiotic = label_of(Antibiotic, finding["antibiotic"])
    parts = (
        label_of(Signs, finding["signs"]).lower(),
        "no wound fluid" if finding["fluid_colour"] == FluidColour.NONE else f"wound fluid: {fluid.lower()}",
        "no antibiotic" if finding["antibiotic"] == Antibiotic.NONE else f"antibiotic: {antibiotic}",
        f"swab: {label_of(Swab, finding['swab']).lower()}",
        f"clinician: {label_of(Diagnosis, finding['diagnosis']).lower()}",
    )
    return f"day {finding['day']}: " + "; ".join(parts)


def course_words(finding: Mapping[Any, Any]) -> str:
    """What one review noted of healing and pain."""
    pain = "not asked" if finding["pain"] != finding["pain"] else f"{finding['pain']:.0f}"
    return f"day {finding['day']}: {label_of(Healing, finding['healing']).lower()}; pain {pain}"


@dataclass(frozen=True)
class Place:
    """Where a changed record is found. toe_key: empty where no toe of the year has it any more."""

    toe_key: str
    words: str
    performed_on: date | None


def place_of(change: Any, frames: "Cohort") -> Place:
    """The toe, side and day of a changed row, from the records or, where it is gone, from what was signed."""
    sides = frames.sides
    values = change.values
    column = next((name for name in ("side_key", "toe_key", "operation_key") if name in values), "")
    own = sides[sides[column] == values[column]].to_dict("records") if column else []
    if not own and change.frame == "sides":
        own = [{**values, "performed_on": date.fromisoformat(values["performed_on"])}]
    if not own:
        return Place("", "a record that is no longer in this year", None)
    side = own[0]
    on = side["performed_on"]
    words = _toe(side) + (f", {label_of(NailSide, side['side']).lower()}" if column == "side_key" else "")
    gone = change.frame == "sides" and change.kind == "gone"
    return Place("" if gone else str(side["toe_key"]), words, on.date() if hasattr(on, "date") else on)
