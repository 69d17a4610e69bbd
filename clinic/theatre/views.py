"""The operation as it happens: times, checklist, events, anaesthetic, the end."""

import secrets
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.db.models import Prefetch
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access.answers import typed_version
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.once import claim
from clinic.access.rules import Action, may
from clinic.procedures.clearance import clearance_of
from clinic.procedures.models import NailProcedure, Operation, SignedRecord, TreatedSide
from clinic.redflags.reading import through_flags
from clinic.theatre import acts, checklist, marks
from clinic.theatre.carried import carried_over, say_where_from
from clinic.theatre.doses import DoseForm, added_up
from clinic.theatre.end_forms import End, end_answers
from clinic.theatre.forms import EventForm, MarkForm, PhaseForm, TapForm
from clinic.theatre.models import ChecklistPhase, Mark
from clinic.theatre.room import Room, room_of
from clinic.vocabulary.theatre import CheckAnswer, CheckItem, MarkKind, Phase

SEALED = "This operation is signed. Correct it by an amendment."


def own_operation(request: HttpRequest, key: str) -> Operation:
    visible = Operation.objects.visible_to(request.user)
    visible = visible.select_related("patient__identity", "operator", "practice", "template")
    sides = Prefetch("treated_sides", TreatedSide.objects.order_by("-side").prefetch_related("applications"))
    nails = NailProcedure.objects.order_by("pk").select_related("operation").prefetch_related(sides, "marks")
    return get_object_or_404(visible.standing().prefetch_related(Prefetch("nail_procedures", nails)), key=key)


# --- the room


@require_methods("GET")
@allowed(Action.ASSIST_OPERATION)
def room(request: HttpRequest, key: str) -> HttpResponse:
    operation = own_operation(request, key)
    shown = room_page(request, operation, clearance=clearance_of(operation))
    shown["due"] = next_phase(operation, shown["room"])
    return render(request, "theatre/room.html", with_sum(shown))


def room_page(request: HttpRequest, operation: Operation, **more: Any) -> dict[str, Any]:
    identity = operation.patient.identity
    found = room_of(operation, now=timezone.localtime())
    return {
        "operation": operation,
        "identity": identity,
        "age": identity.age_on(operation.performed_on),
        "room": found,
        "may_decide": may(request.user.role, Action.RECORD_OPERATION),
        "new_tap": lambda: secrets.token_urlsafe(24),
        "may_sign": operation.operator_id == request.user.pk and may(request.user.role, Action.RECORD_OPERATION),
        "may_amend": may(request.user.role, Action.RECORD_OPERATION),
        **more,
    }


def with_sum(shown: dict[str, Any]) -> dict[str, Any]:
    """The page with the doses added up beside the approved limits."""
    return shown | {"result": added_up(shown["operation"], shown["room"].doses)}


@require_methods("POST")
@allowed(Action.ASSIST_OPERATION)
def tap(request: HttpRequest, key: str) -> HttpResponse:
    """Keeps one moment. A script gets JSON; without one the room is shown again."""
    operation = own_operation(request, key)
    form = TapForm(request.POST)
    if not form.is_valid():
        return told(request, operation, "This tap was not understood. Open the page again.", status=400)
    nail, side = target(operation, form.cleaned_data)
    now = timezone.now()
    try:
        mark = marks.tap(
            by=request.user, operation=operation, kind=form.cleaned_data["kind"], at=form.at(now),
            now=now, name=form.cleaned_data["tap"], nail=nail, side=side,
        )  # fmt: skip
    except marks.Refused as refusal:
        return told(request, operation, f"{refusal}.", status=409)
    except SignedRecord:
        return told(request, operation, SEALED, status=409)
    at = timezone.localtime(mark.at)
    return told(request, operation, f"{mark.get_kind_display()} {at:%H:%M:%S}.", status=200)


def target(operation: Operation, answers: dict[str, Any]) -> tuple[NailProcedure | None, TreatedSide | None]:
    """The toe and side that a tap names; 404 for one of another operation."""
    nails = {nail.key: nail for nail in operation.nail_procedures.all()}
    sides = {side.key: side for nail in nails.values() for side in nail.treated_sides.all()}
    nail, side = answers["nail"], answers["side"]
    if (nail and nail not in nails) or (side and side not in sides):
        raise Http404
    of_toe = answers["kind"] not in {MarkKind.INJECTED, MarkKind.TESTED}
    if of_toe and not (nail or side):
        raise Http404
    chosen = sides.get(side)
    return (chosen.nail_procedure if chosen else nails.get(nail)), chosen


def told(request: HttpRequest, operation: Operation, sentence: str, *, status: int) -> HttpResponse:
    if "application/json" in request.headers.get("Accept", ""):
        return JsonResponse({"said": sentence}, status=status)
    (messages.success if status == 200 else messages.error)(request, sentence)
    return redirect(through_flags(operation, reverse("room", args=[operation.key])))


@require_methods("GET", "POST")
@allowed(Action.ASSIST_OPERATION)
def mark(request: HttpRequest, key: str) -> HttpResponse:
    """Correct a moment, or take it back, with the reason."""
    row = own_mark(request, key)
    if row.operation.signed_at and not may(request.user.role, Action.RECORD_OPERATION):
        messages.error(request, SEALED)
        return redirect("room", row.operation.key)
    takes_back = request.POST.get("do") == "take_back"
    at = timezone.localtime(row.at)
    posted = request.POST if request.method == "POST" else None
    form = MarkForm(posted, initial={"on": at.date(), "at": at.time().replace(microsecond=0)},
                    today=timezone.localdate(), was=at, taken_back=takes_back)  # fmt: skip
    version, status = row.version, 200
    if form.is_valid():
        try:
            change_mark(request, row, form, takes_back=takes_back)
        except Conflict:
            row = own_mark(request, key)
            version, status = row.version, 409
            form.add_error(None, "Somebody changed this time a moment ago. Look at it, then save again")
        except marks.Refused as refusal:
            form.add_error(None if takes_back else "at", str(refusal))
        else:
            messages.success(request, "Taken back." if takes_back else "Time corrected. The earlier one is kept.")
            return redirect(through_flags(row.operation, reverse("room", args=[row.operation.key])))
    shown = {"mark": row, "form": form, "version": version, "operation": row.operation, "takes_back": takes_back,
             "identity": row.operation.patient.identity, "earlier": row.history.order_by("history_id")}  # fmt: skip
    return render(request, "theatre/mark.html", shown, status=status)


def own_mark(request: HttpRequest, key: str) -> Mark:
    visible = Mark.objects.filter(operation__practice_id=request.user.practice_id, operation__struck_at__isnull=True)
    return get_object_or_404(visible.select_related("operation__patient__identity", "nail_procedure"), key=key)


def change_mark(request: HttpRequest, row: Mark, form: MarkForm, *, takes_back: bool) -> None:
    common = {"by": request.user, "mark": row, "version": typed_version(request), "now": timezone.now(),
              "reason": form.cleaned_data["reason"]}  # fmt: skip
    if takes_back:
        marks.take_back(**common)
    else:
        marks.correct(at=form.moment(), **common)


# --- checklist


@require_methods("GET", "POST")
@allowed(Action.ASSIST_OPERATION)
def phase(request: HttpRequest, key: str, code: str) -> HttpResponse:
    operation = own_operation(request, key)
    if code not in Phase.codes():
        raise Http404
    which = Phase(code)
    stored = ChecklistPhase.objects.filter(operation=operation, phase=which).prefetch_related("items").first()
    wording = checklist.wording_of(operation.practice, stored)
    initial = phase_answers(stored)
    lines = checklist.items_of(which, wording)
    posted = with_yes(request.POST, lines) if request.method == "POST" else None
    form = PhaseForm(posted, initial=initial, lines=lines)
    version, status = (stored.version if stored else 0), 200
    if form.is_valid():
        answers = form.cleaned_data
        try:
            saved = checklist.complete(
                by=request.user, operation=operation, phase=which, version=typed_version(request), wording=wording,
                answers=form.answers(), second_initials=answers["second_initials"], note=answers["note"],
                now=timezone.now(),
            )  # fmt: skip
        except Conflict:
            status = 409
            form.add_error(None, "Somebody completed this phase a moment ago. Look at it, then save again")
            version = ChecklistPhase.objects.get(operation=operation, phase=which).version
        else:
            messages.success(request, f"{which.label}: {saved.get_timing_display().lower()}.")
            return redirect(through_flags(operation, reverse("room", args=[operation.key])))
    shown = {"operation": operation, "identity": operation.patient.identity, "phase": which, "form": form,
             "stored": stored, "version": version}  # fmt: skip
    return render(request, "theatre/phase.html", shown, status=status)


def with_yes(posted: QueryDict, lines: list[CheckItem]) -> QueryDict:
    """One tap for "read aloud, and all of it is so": every line that nobody answered otherwise is answered with yes."""
    if not posted.get("all_yes"):
        return posted
    answers = posted.copy()
    for line in lines:
        answers.setdefault(line.code, CheckAnswer.YES.value)
    return answers


def next_phase(operation: Operation, found: Room) -> tuple[Phase, PhaseForm] | None:
    """The phase that is due, to be read aloud in the room; None once all were gone through, or after signing."""
    due = next((phase for phase, stored in found.phases if stored is None), None)
    if due is None or operation.signed_at:
        return None
    return due, PhaseForm(lines=checklist.items_of(due, checklist.wording_of(operation.practice, None)))


def phase_answers(stored: ChecklistPhase | None) -> dict[str, str]:
    if stored is None:
        return {}
    answers = {item.code: item.answer for item in stored.items.all()}
    return answers | {"second_initials": stored.second_initials, "note": stored.note}


# --- events


@require_methods("GET", "POST")
@allowed(Action.ASSIST_OPERATION)
def event_add(request: HttpRequest, key: str) -> HttpResponse:
    operation = own_operation(request, key)
    form = EventForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        given = {name: form.cleaned_data[name] for name in ("kind", "harm", "note")}
        return made_once(
            request, operation, form.once, "Event recorded.",
            lambda: acts.add_event(
                by=request.user, operation=operation, now=timezone.now(), happened_on=operation.performed_on, **given
            ),
        )  # fmt: skip
    shown = {"operation": operation, "identity": operation.patient.identity, "form": form}
    return render(request, "theatre/event.html", shown)


def made_once(request: HttpRequest, operation: Operation, once: str, said: str, act: Callable[[], Any]) -> HttpResponse:
    """Do it for the first post of a form; lead the others to its result: the room, past what it may mean."""
    leads_to = reverse("room", args=[operation.key])
    with transaction.atomic():
        if earlier := claim(request.user, once, leads_to=leads_to):
            return redirect(earlier)
        act()
    messages.success(request, said)
    return redirect(through_flags(operation, leads_to))


# --- anaesthetic


@require_methods("GET", "POST")
@allowed(Action.ASSIST_OPERATION)
def dose_add(request: HttpRequest, key: str) -> HttpResponse:
    operation = own_operation(request, key)
    posted = request.POST if request.method == "POST" else None
    form = DoseForm(posted, operation=operation, nails=list(operation.nail_procedures.all()))
    now = timezone.now()
    if form.is_valid() and not form.refuse_future(now):
        return made_once(
            request, operation, form.once, "Anaesthetic recorded.",
            lambda: acts.add_dose(
                by=request.user, operation=operation, now=now, expired_reason=form.expired_reason, **form.values()
            ),
        )  # fmt: skip
    shown = {"operation": operation, "identity": operation.patient.identity, "form": form}
    return render(request, "theatre/dose.html", shown)


# --- the end


@require_methods("GET", "POST")
@allowed(Action.ASSIST_OPERATION)
def closing(request: HttpRequest, key: str) -> HttpResponse:
    operation = own_operation(request, key)
    if operation.signed_at and not may(request.user.role, Action.RECORD_OPERATION):
        messages.error(request, SEALED)
        return redirect("operation", operation.key)
    nails = list(operation.nail_procedures.all())
    first, came = carried_over(operation, nails, end_answers(operation, nails))
    end = End(operation, nails, request.POST if request.method == "POST" else None, first)
    for form, name in [(end.form, "end"), *((form, form.nail.key) for form in end.toes)]:
        say_where_from(form, came[name])
    version, status = operation.version, 200
    more: dict[str, Any] = {}
    if end.data is not None and end.is_valid():
        try:
            acts.close(
                by=request.user, operation=operation, version=typed_version(request), fields=end.form.cleaned_data,
                toes={form.nail: form.values() for form in end.toes}, now=timezone.now(), reason=end.reason,
            )  # fmt: skip
        except Conflict:
            operation, status = own_operation(request, key), 409
            version = operation.version
            more["differences"] = end.differences(end_answers(operation, list(operation.nail_procedures.all())))
            more["last_change"] = operation.history.select_related("history_user").latest("history_id")
        else:
            messages.success(request, "The end of the operation is saved.")
            onward = "sign" if may(request.user.role, Action.RECORD_OPERATION) else "room"
            return redirect(through_flags(operation, reverse(onward, args=[operation.key])))
    shown = room_page(request, operation, end=end, errors=list(end.errors()), version=version, **more)
    return render(request, "theatre/closing.html", shown, status=status)
