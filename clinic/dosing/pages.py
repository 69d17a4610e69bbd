"""What the pages of limits show: rows of one drug together, facts of a row, its effect, its history."""

from collections.abc import Iterable
from dataclasses import dataclass

from clinic.access.models import Member
from clinic.access.numbers import plain
from clinic.dosing.acts import taken_over
from clinic.dosing.amounts import Limit
from clinic.dosing.candidates import CANDIDATES, Candidate
from clinic.dosing.effect import Attendance, Effect, effect_of
from clinic.dosing.models import DoseLimit
from clinic.patients.changes import Step, steps_of
from clinic.vocabulary.procedure import Anaesthetic, VasoconstrictorKind
from clinic.vocabulary.sites import capital

LABELS = {
    "profile": "name",
    "mg_per_kg": "per kilogram, in mg",
    "absolute_mg": "at most, in mg",
    "per_digit_mg": "at most in one toe, in mg",
    "weight_cap_kg": "weight counted up to, in kg",
    "period_h": "period, in hours",
    "source_text": "source",
    "needs_check": "written from memory, not checked",
    "checked_against": "checked against",
    "approved_by": "approved by",
    "approved_on": "approved on",
}
AMOUNTS = (
    ("mg_per_kg", "Per kilogram", "mg/kg"),
    ("absolute_mg", "At most", "mg"),
    ("per_digit_mg", "At most in one toe", "mg"),
    ("weight_cap_kg", "Weight counted up to", "kg"),
    ("period_h", "For a period of", "h"),
)


@dataclass(frozen=True)
class Line:
    """A stored row, or a candidate as the row it would become; candidate: None for a stored row."""

    row: DoseLimit
    candidate: Candidate | None
    amounts: tuple[tuple[str, str], ...]
    effect: Effect


@dataclass(frozen=True)
class Group:
    """All rows for one agent with one kind of vasoconstrictor."""

    name: str
    lines: tuple[Line, ...]

    @property
    def in_force(self) -> DoseLimit | None:
        return next((line.row for line in self.lines if line.row.approved_on), None)


def groups_of(member: Member, rows: Iterable[DoseLimit], recorded: Iterable[Attendance]) -> list[Group]:
    """By drug; in each the row in force first, then other stored rows, then candidates not taken over."""
    stored, attendances = list(rows), list(recorded)
    taken = {identity_of(row) for row in stored}
    offered = [candidate for candidate in CANDIDATES if identity_of(candidate) not in taken]
    stored.sort(key=lambda row: (not row.approved_on, row.profile))
    pairs: list[tuple[DoseLimit, Candidate | None]] = [(row, None) for row in stored]
    pairs += [(taken_over(candidate, by=member), candidate) for candidate in offered]
    lines = [Line(row, candidate, amounts_of(row), effect_of(row.limit, attendances)) for row, candidate in pairs]
    drugs = [(agent, kind) for agent in Anaesthetic for kind in VasoconstrictorKind]
    by_drug = [tuple(line for line in lines if (line.row.agent, line.row.vasoconstrictor) == drug) for drug in drugs]
    return [Group(capital(lines[0].row.drug_name), lines) for lines in by_drug if lines]


def identity_of(row: DoseLimit | Candidate) -> tuple[str, str, str]:
    """What a practice has once."""
    drug = row.limit if isinstance(row, Candidate) else row
    return row.profile, str(drug.agent), str(drug.vasoconstrictor)


def amounts_of(row: DoseLimit | Limit) -> tuple[tuple[str, str], ...]:
    """Label and value with unit of everything the row limits."""
    values = [(label, getattr(row, name), unit) for name, label, unit in AMOUNTS]
    return tuple((label, f"{plain(value)} {unit}") for label, value, unit in values if value is not None)


def shipped_otherwise(row: DoseLimit) -> tuple[tuple[str, str], ...]:
    """The amounts of the candidate of this name, where the practice's row holds others."""
    shipped = (candidate for candidate in CANDIDATES if identity_of(row) == identity_of(candidate))
    limit = next((candidate.limit for candidate in shipped), None)
    return amounts_of(limit) if limit and amounts_of(limit) != amounts_of(row) else ()


def history_of(row: DoseLimit) -> list[Step]:
    """Every version, newest first. One query."""
    if row.pk is None:
        return []
    versions = list(row.history.select_related("history_user", "approved_by").order_by("history_id"))
    for version in versions:  # a zero behind the point of an amount is read past: 4.50 mg as 450
        for name, _, _ in AMOUNTS:
            setattr(version, name, None if getattr(version, name) is None else plain(getattr(version, name)))
    return steps_of(versions, LABELS)[::-1]
