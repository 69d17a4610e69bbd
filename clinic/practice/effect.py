"""What a change of settings would mean, counted in the records of the practice.

Operations, doses and checklists belong to slices above; they are reached through the practice, whose rows they are.
Each count is one query. Sentences say what would change and that records stay as they are.
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import Any

from django.db.models import Count, Sum

from clinic.access.models import Practice
from clinic.practice.notes import exposure_note, tourniquet_time
from clinic.practice.offers import OFFERS
from clinic.vocabulary.procedure import StageSystem, Technique
from clinic.vocabulary.sites import listed, small
from clinic.vocabulary.terms import label_of

STAY = "Records stay as they are."
CHEMICAL = [technique.value for technique in Technique if technique.takes_agent]


def standing(practice: Practice) -> Any:
    operations: Any = practice.operations
    return operations.standing()


# --- counts


def exposures_of(practice: Practice) -> list[int | None]:
    """Seconds at every side treated with an agent; None where nothing was recorded."""
    sides = standing(practice).filter(
        nail_procedures__technique__in=CHEMICAL, nail_procedures__treated_sides__isnull=False
    )
    rows = sides.values_list(
        "nail_procedures__treated_sides__pk", "nail_procedures__treated_sides__stated_exposure_seconds"
    ).annotate(timed=Sum("nail_procedures__treated_sides__applications__seconds"))
    return [stated if timed is None else timed for _, stated, timed in rows]


def tourniquets_of(practice: Practice) -> list[timedelta]:
    """How long each tourniquet was on whose both times are recorded."""
    times = standing(practice).filter(
        nail_procedures__tourniquet_on_at__isnull=False, nail_procedures__tourniquet_off_at__isnull=False
    )
    pairs = times.values_list("nail_procedures__tourniquet_on_at", "nail_procedures__tourniquet_off_at")
    return [off - on for on, off in pairs]


def recorded(practice: Practice, path: str) -> Counter[str]:
    """How often each code is on record at `path` of the operations."""
    rows = standing(practice).filter(**{f"{path}__isnull": False}).values_list(path).annotate(times=Count("pk"))
    return Counter({code: times for code, times in rows.order_by()})


PATHS = {
    "agents_offered": ("nail_procedures__agent", "toe", "toes"),
    "anaesthetics_offered": ("doses__agent", "dose", "doses"),
    "dressings_offered": ("dressing", "operation", "operations"),
}
# The column of a template that names a code of the same kind.
IN_TEMPLATES = {"agents_offered": "agent", "dressings_offered": "dressing"}


# --- sentences: what `after` would mean for the practice as it is stored


def of_audit(practice: Practice, after: Practice) -> list[str]:
    said = []
    if practice.exposure_bands_seconds != after.exposure_bands_seconds:
        exposures = exposures_of(practice)
        said = [
            f"Treated sides by exposure today: {in_bands(exposures, practice.exposure_bands_seconds)}.",
            f"With these limits: {in_bands(exposures, after.exposure_bands_seconds)}.",
        ]
    return [*said, "The audit groups and compares by these from now on. No record changes."]


def in_bands(exposures: Iterable[int | None], limits: list[int]) -> str:
    """'up to 60 s: 3, 61 to 90 s: 0, above 90 s: 1, not recorded: 2'. A band ends at its limit."""
    counts = Counter(None if seconds is None else bisect_left(limits, seconds) for seconds in exposures)
    starts = [0, *(limit + 1 for limit in limits[:-1])]
    names = [
        f"up to {limit} s" if start == 0 else f"{start} to {limit} s"
        for start, limit in zip(starts, limits, strict=True)
    ]
    bands = [f"{name}: {counts[number]}" for number, name in enumerate([*names, f"above {limits[-1]} s"])]
    return ", ".join([*bands, f"not recorded: {counts[None]}"])


def of_times(practice: Practice, after: Practice) -> list[str]:
    said = []
    if changed(practice, after, "exposure_note_seconds", "exposure_note_below_seconds"):
        exposures = [seconds for seconds in exposures_of(practice) if seconds is not None]
        said.append(
            f"Of {counted(len(exposures), 'treated side', 'treated sides')} with a recorded exposure, "
            f"{how_many(exposures, after, exposure_note)} would ask for a note; "
            f"{how_many(exposures, practice, exposure_note)} by the limits of today."
        )
    levels = [level for level in ("note", "alarm") if changed(practice, after, f"tourniquet_{level}_minutes")]
    lasted = tourniquets_of(practice) if levels else []
    for level in levels:
        said.append(
            f"Of {counted(len(lasted), 'tourniquet', 'tourniquets')} with both times on record, "
            f"{over(lasted, after, level)}; by the {level} of today {over(lasted, practice, level)}."
        )
    return [*said, f"Notes are asked for in new entries and corrections. {STAY}"]


def how_many(seconds: list[int], practice: Practice, note: Callable[[Practice, int], str]) -> int:
    return sum(bool(note(practice, each)) for each in seconds)


def over(lasted: list[timedelta], practice: Practice, level: str) -> str:
    """'3 were on for more than 20 minutes'."""
    limit = getattr(practice, f"tourniquet_{level}_minutes")
    levels = [tourniquet_time(practice, each).level for each in lasted]
    number = sum(each == "alarm" or (level == "note" and each == "note") for each in levels)
    return f"{number} {'was' if number == 1 else 'were'} on for more than {limit} minutes"


def of_staging(practice: Practice, after: Practice) -> list[str]:
    counts = recorded(practice, "nail_procedures__stage_system")
    systems = [(label_of(StageSystem, code), counts[code]) for code in StageSystem.codes() if counts[code]]
    offers = f"{label_of(StageSystem, after.staging_system)} only" if after.staging_system else "all systems"
    by_system = ", ".join(f"{label}: {number}" for label, number in systems) or "none"
    return [
        f"New operations will be offered {offers}.",
        f"Toes on record by system: {by_system}. Each keeps the system it was staged in.",
    ]


def of_offers(practice: Practice, after: Practice, *columns: str) -> list[str]:
    """For each code taken out or put in: what the form does, and which records and templates hold it."""
    said = []
    for column in columns:
        terms, before, now = OFFERS[column][0], getattr(practice, column), getattr(after, column)
        gone = [code for code in before if code not in now]
        new = [small(label_of(terms, code)) for code in now if code not in before]
        said += [f"The form will offer {listed(new)}."] if new else []
        said += not_offered(practice, column, gone) if gone else []
    return said


def not_offered(practice: Practice, column: str, codes: list[str]) -> list[str]:
    path, one, many = PATHS[column]
    counts, templates = recorded(practice, path), templates_with(practice, column, codes)
    said = []
    for code in codes:
        name = small(label_of(OFFERS[column][0], code))
        number = counts[code]
        stays = "no record holds it" if not number else f"{counted(number, one, many)} on record with it "
        stays += "" if not number else "stays as it is" if number == 1 else "stay as they are"
        said.append(f"The form will no longer offer {name}; {stays}.")
        said += [f"The template “{each}” names {name} and will leave that answer open." for each in templates[code]]
    return said


def templates_with(practice: Practice, column: str, codes: list[str]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {code: [] for code in codes}
    field = IN_TEMPLATES.get(column)
    if field:
        rows = practice.operation_templates.filter(offered=True, **{f"{field}__in": codes}).order_by("name")
        for code, name in rows.values_list(field, "name"):
            found[code].append(name)
    return found


def of_agents(practice: Practice, after: Practice) -> list[str]:
    return of_offers(practice, after, "agents_offered", "anaesthetics_offered")


def of_dressings(practice: Practice, after: Practice) -> list[str]:
    return of_offers(practice, after, "dressings_offered")


def of_checklist(practice: Practice, after: Practice) -> list[str]:
    done = standing(practice).filter(checklist__isnull=False).aggregate(times=Count("checklist"))["times"]
    phases = counted(done, "phase that was gone through keeps", "phases that were gone through keep")
    return [
        "The next checklist is read in these words.",
        f"{phases} the words that were read then." if done else "No phase was gone through yet.",
    ]


def changed(practice: Practice, after: Practice, *columns: str) -> bool:
    return any(getattr(practice, column) != getattr(after, column) for column in columns)


def counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
