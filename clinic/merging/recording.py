"""Merge two entries of one person, and take that back. Each is one transaction.

The rows move, so that every list, limit and count sees one patient without knowing of the merge.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise

from django.db import transaction
from django.db.models import Model

from clinic.access.models import Conflict, Member
from clinic.access.numbers import say_day
from clinic.patients.models import RISK_FIELDS, Patient
from clinic.preparation.models import Assessment, Consent
from clinic.procedures.models import NailProcedure, Operation
from clinic.procedures.signing import amending
from clinic.vocabulary.procedure import Answer, Sex
from clinic.vocabulary.sites import toe_name

MERGED = "Entered twice: merged"
APART = "Not the same person: taken apart"
MOVING = (Operation, Assessment, Consent)
CONTACT = ("phone", "email")
# The answer that asks for more care holds for both, until somebody corrects it.
ANSWERS_BY_WEIGHT = (Answer.YES, Answer.NO, Answer.NOT_ASSESSED, Answer.NOT_RECORDED)


@dataclass(frozen=True)
class Contents:
    """How much stands under an entry."""

    operations: int
    assessments: int
    consents: int


def contents_of(patient: Patient) -> Contents:
    return Contents(*(model.objects.filter(patient=patient).count() for model in MOVING))


def obstacles(kept: Patient, other: Patient) -> list[str]:
    """Why the two entries cannot be one person, or not yet; one sentence each."""
    found = []
    if other.merged.exists():
        found.append(
            "Another entry was merged into that one. Merge the other way round, or take the earlier merge back"
        )
    if kept.died_on and other.died_on and kept.died_on != other.died_on:
        found.append(f"The entries name different days of death, {say_day(kept.died_on)} and {say_day(other.died_on)}")
    found += _after_death(kept.died_on or other.died_on, kept, other)
    return found + [
        f"Both entries hold an operation of the {toe_name(foot, toe)} on {say_day(day)}. Strike one of them out first"
        for day, foot, toe in sorted(_treated(kept) & _treated(other))
    ]


def _treated(patient: Patient) -> set[tuple[date, str, int]]:
    nails = NailProcedure.objects.filter(operation__patient=patient, operation__struck_at__isnull=True)
    return set(nails.values_list("operation__performed_on", "foot", "toe"))


def _after_death(died_on: date | None, *entries: Patient) -> Iterable[str]:
    later = Operation.objects.filter(patient__in=entries, struck_at__isnull=True)
    for day in later.filter(performed_on__gt=died_on).values_list("performed_on", flat=True) if died_on else ():
        yield f"One entry says died on {say_day(died_on)}, and there is an operation on {say_day(day)}"


class NotMergeable(Exception):
    """The entries contradict each other; `obstacles` says how."""

    def __init__(self, obstacles: list[str]) -> None:
        super().__init__("; ".join(obstacles))
        self.obstacles = obstacles


@transaction.atomic
def merge(*, by: Member, kept: Patient, other: Patient, versions: tuple[int, int], reason: str, now: datetime) -> None:
    """Everything under `other` moves to `kept`, which stands for both from now on.

    versions: of kept and other, as they were shown. Raises Conflict if either moved on, and NotMergeable.
    """
    kept, other = _held(kept, other)
    if (kept.version, other.version) != versions or kept.merged_into_id or other.merged_into_id:
        raise Conflict(f"Patients {kept.key} and {other.key}")
    if found := obstacles(kept, other):
        raise NotMergeable(found)
    why = f"{MERGED}. {reason}"
    for model in MOVING:
        _move(model.objects.filter(patient=other), to=kept, by=by, now=now, reason=why)
    _add_up(kept, other)
    kept.save_version(by=by, reason=why)
    _fill_contact(kept, other, by=by, reason=why)
    other.merged_into = kept
    other.save_version(by=by, reason=why)


@transaction.atomic
def take_apart(*, by: Member, other: Patient, version: int, reason: str, now: datetime) -> None:
    """What this merge moved goes back to `other`; what came later, and the answers of the kept entry, stay.

    Whose number it is that was filled in is known; whose wish it is not to be contacted is not, so both keep it.
    Raises Conflict if it was taken apart meanwhile, or changed.
    """
    kept, other = _held(other.person, other)
    if other.version != version or other.merged_into_id != kept.pk:
        raise Conflict(f"Patient {other.key}")
    why = f"{APART}. {reason}"
    for model in MOVING:
        _move(_moved(model, kept, other), to=other, by=by, now=now, reason=why)
    _take_back_contact(kept, other, by=by, reason=why)
    wished = kept.no_contact_wished or other.no_contact_wished
    if wished and not kept.no_contact_wished:
        kept.no_contact_wished = True
        kept.save_version(by=by, reason=why)
    other.merged_into, other.no_contact_wished = None, wished
    other.save_version(by=by, reason=why)


def _moved(model: type[Model], kept: Patient, other: Patient) -> list[Model]:
    """Rows under `kept` that a merge brought there from `other`.

    Not every row that ever stood under `other`: one that came back when a merge the wrong way round was undone is the
    kept entry's own.
    """
    rows = list(model.objects.filter(patient=kept))
    steps: dict[int, list[tuple[int, str]]] = defaultdict(list)
    told = model.history.filter(id__in=[row.pk for row in rows]).order_by("history_id")
    for pk, owner, reason in told.values_list("id", "patient_id", "history_change_reason"):
        steps[pk].append((owner, reason or ""))
    return [row for row in rows if _came_from(steps[row.pk], kept.pk, other.pk)]


def _came_from(steps: Sequence[tuple[int, str]], kept: int, other: int) -> bool:
    """Whether the last change of owner was a merge of `other`. steps: owner and reason, oldest first."""
    arrivals = [(before, reason) for (before, _), (owner, reason) in pairwise(steps) if before != owner == kept]
    return bool(arrivals) and arrivals[-1][0] == other and arrivals[-1][1].startswith(MERGED)


def _held(*entries: Patient) -> tuple[Patient, Patient]:
    """Both entries locked, always in the same order, and in the order given."""
    rows = {
        row.pk: row for row in Patient.objects.select_for_update().filter(pk__in=[e.pk for e in entries]).order_by("pk")
    }
    first, second = (rows[entry.pk] for entry in entries)
    return first, second


def _move(rows: Iterable[Model], *, to: Patient, by: Member, now: datetime, reason: str) -> None:
    for row in rows:
        row.patient = to
        if isinstance(row, Operation):
            _move_operation(row, by=by, now=now, reason=reason)
        else:
            row.save_version(by=by, reason=reason)


def _move_operation(operation: Operation, *, by: Member, now: datetime, reason: str) -> None:
    """A signed record changes only by an amendment, also whom it belongs to."""
    Operation.objects.select_for_update().get(pk=operation.pk)
    with amending(operation, by=by, now=now, reason=reason):
        operation.save_version(by=by, reason=reason)


def _add_up(kept: Patient, other: Patient) -> None:
    """Neither a wish, a death nor a risk that one entry knew of is lost."""
    kept.no_contact_wished = kept.no_contact_wished or other.no_contact_wished
    kept.died_on = kept.died_on or other.died_on
    if kept.sex == Sex.NOT_RECORDED:
        kept.sex = other.sex
    for name in RISK_FIELDS:
        given = {getattr(kept, name), getattr(other, name)}
        setattr(kept, name, next((answer for answer in ANSWERS_BY_WEIGHT if answer in given), getattr(kept, name)))


def _take_back_contact(kept: Patient, other: Patient, *, by: Member, reason: str) -> None:
    """Phone and e-mail that the merge filled in from `other` go, unless somebody has changed them since."""
    alone = other.history.filter(merged_into=None).order_by("history_id").last()
    merged = other.history.filter(history_id__gt=alone.history_id).order_by("history_id").first()
    identity = kept.identity
    between = {"history_date__gte": alone.history_date, "history_date__lte": merged.history_date}
    steps = identity.history.filter(history_change_reason=merged.history_change_reason, **between)
    filled = steps.order_by("history_id").last()
    if filled is None:
        return
    before = identity.history.filter(version=filled.version - 1).order_by("history_id").last()
    names = [n for n in CONTACT if not getattr(before, n) and getattr(identity, n) == getattr(filled, n) != ""]
    for name in names:
        setattr(identity, name, "")
    if names:
        identity.save_version(by=by, reason=reason)


def _fill_contact(kept: Patient, other: Patient, *, by: Member, reason: str) -> None:
    """Phone and e-mail of the other entry, where the kept one has none."""
    identity, given = kept.identity, other.identity
    if (given.phone and not identity.phone) or (given.email and not identity.email):
        identity.phone, identity.email = identity.phone or given.phone, identity.email or given.email
        identity.save_version(by=by, reason=reason)
