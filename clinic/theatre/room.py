"""Everything the page of a running operation shows, read once."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from clinic.access.models import Practice
from clinic.practice.notes import TourniquetTime, exposure_note, tourniquet_time
from clinic.procedures.models import AnaestheticDose, NailProcedure, Operation, OperationEvent, TreatedSide
from clinic.theatre.marks import open_at, standing
from clinic.theatre.models import ChecklistPhase, Mark
from clinic.vocabulary.procedure import Technique, Tourniquet
from clinic.vocabulary.sites import capital, part_name, toe_name
from clinic.vocabulary.theatre import MarkKind, Phase


@dataclass(frozen=True)
class Button:
    """One thing to tap next, and what it is followed by. running_since: of what it would end."""

    kind: MarkKind
    words: str
    then_kind: MarkKind
    then_words: str
    nail: str = ""
    side: str = ""
    running_since: datetime | None = None


@dataclass(frozen=True)
class Toe:
    nail: NailProcedure
    place: str
    buttons: tuple[Button, ...]
    tourniquet: TourniquetTime | None
    tourniquet_on: bool
    exposure_notes: tuple[str, ...]


@dataclass(frozen=True)
class Room:
    """The running operation. lines: standing and taken-back moments, oldest first."""

    toes: tuple[Toe, ...]
    buttons: tuple[Button, ...]
    lines: tuple[Mark, ...]
    phases: tuple[tuple[Phase, ChecklistPhase | None], ...]
    doses: tuple[AnaestheticDose, ...]
    events: tuple[OperationEvent, ...]
    may_tap: bool

    @property
    def tourniquet_is_on(self) -> bool:
        return any(toe.tourniquet_on for toe in self.toes)


def room_of(operation: Operation, *, now: datetime) -> Room:
    marks = standing(operation)
    done = {phase.phase: phase for phase in operation.checklist.select_related("by").prefetch_related("items")}
    lines = Mark.objects.filter(operation=operation).select_related("by", "nail_procedure", "treated_side")
    return Room(
        toes=tuple(toe_of(nail, marks, now, operation.practice) for nail in operation.nail_procedures.all()),
        buttons=(repeated(MarkKind.INJECTED, "Injected now"), repeated(MarkKind.TESTED, "Block tested now")),
        lines=tuple(lines.order_by("at", "pk")),
        phases=tuple((phase, done.get(phase.value)) for phase in Phase),
        doses=tuple(
            operation.doses.select_related("nail_procedure")
            .prefetch_related("nail_procedure__treated_sides")
            .order_by("pk")
        ),
        events=tuple(operation.events.order_by("pk")),
        may_tap=operation.signed_at is None and (now.date() - operation.performed_on).days in {0, 1},
    )


def toe_of(nail: NailProcedure, marks: list[Mark], now: datetime, practice: Practice) -> Toe:
    on = open_at(("toe", nail.pk), MarkKind.TOURNIQUET_ON, marks)
    on_at, off_at = nail.tourniquet_on_at, nail.tourniquet_off_at
    until = off_at or (now if on else None)
    used = nail.tourniquet not in {Tourniquet.NONE, Tourniquet.NOT_RECORDED} or on_at is not None
    return Toe(
        nail=nail,
        place=capital(toe_name(nail.foot, nail.toe)),
        buttons=(tourniquet_button(nail, on), *side_buttons(nail, marks)),
        tourniquet=tourniquet_time(practice, until - on_at) if on_at and until else None,
        tourniquet_on=used and on_at is not None and off_at is None,
        exposure_notes=tuple(exposure_notes(nail, practice)),
    )


def repeated(kind: MarkKind, words: str) -> Button:
    return Button(kind, words, then_kind=kind, then_words=words)


def exposure_notes(nail: NailProcedure, practice: Practice) -> Iterator[str]:
    for treated in nail.treated_sides.all():
        seconds = treated.exposure_seconds
        if seconds and (note := exposure_note(practice, seconds)):
            yield f"{capital(part_name(treated.side))}: {note}."


def tourniquet_button(nail: NailProcedure, on: Mark | None) -> Button:
    begin, end = (MarkKind.TOURNIQUET_ON, "Tourniquet on now"), (MarkKind.TOURNIQUET_OFF, "Tourniquet off now")
    if on:
        return Button(*end, *begin, nail=nail.key, running_since=on.at)
    return Button(*begin, *end, nail=nail.key)


def side_buttons(nail: NailProcedure, marks: list[Mark]) -> list[Button]:
    if not Technique(nail.technique).takes_agent:
        return []
    return [side_button(treated, marks) for treated in nail.treated_sides.all()]


def side_button(treated: TreatedSide, marks: list[Mark]) -> Button:
    place = part_name(treated.side)
    begun = open_at(("side", treated.pk), MarkKind.APPLICATION_START, marks)
    number = len(treated.applications.all()) + 1
    begin = (MarkKind.APPLICATION_START, f"Start application {number}, {place}")
    end = (MarkKind.APPLICATION_STOP, f"Stop application, {place}")
    if begun:
        return Button(*end, *begin, side=treated.key, running_since=begun.at)
    return Button(*begin, *end, side=treated.key)
