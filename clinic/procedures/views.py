"""Record an operation, read it, correct it, undo it, strike it out."""

from datetime import date, datetime
from typing import Any

from django.contrib import messages
from django.db import IntegrityError, transaction
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access.answers import count_of, typed_version, without_toe
from clinic.access.decorators import allowed, require_methods
from clinic.access.drafts import DraftRefused, draft_of, drop_draft, keep_draft
from clinic.access.models import Conflict, Member, random_key
from clinic.access.numbers import say_day
from clinic.access.once import claim, first_or_result, new_token
from clinic.access.rules import Action, may
from clinic.access.striking import may_strike, strike_out
from clinic.patients.forms import risks_of
from clinic.patients.models import Patient
from clinic.patients.own import lock_person, own_patient
from clinic.practice.filling import emptied, filled
from clinic.practice.models import OperationTemplate
from clinic.procedures.answers import answers_of, nails_in_order
from clinic.procedures.clearance import Clearance, clearance_before, clearance_of, usable_for
from clinic.procedures.forms import MOST_TOES, OperationEntry, StrikeForm
from clinic.procedures.history import history_of
from clinic.procedures.models import Operation, TreatedSide
from clinic.procedures.recording import (
    UNDO_FOR,
    ReviewLiesBefore,
    SideHasFindings,
    TooLateToUndo,
    amend_operation,
    record_operation,
    strike_operation,
    undo_operation,
)
from clinic.redflags.reading import through_flags
from clinic.vocabulary.sites import part_name, toe_name

DRAFT = "operation"
NO_TEMPLATE = "none"


# --- a new operation


@require_methods("GET", "POST")
@allowed(Action.RECORD_OPERATION)
def operation_new(request: HttpRequest, key: str) -> HttpResponse:
    patient = own_patient(request, key)
    if request.method == "GET":
        kept = draft_of(request.user, DRAFT, patient.key)
        giver = consented_by(patient)
        entry = entry_for(request, patient, initial=kept or first_answers(request.user, giver))
        consent = entry.visit["consent_given_by"]
        if giver and consent.value() == giver:
            consent.help_text = "From the consent on record."
        return entry_page(request, patient, entry, has_draft=bool(kept))
    posted = request.POST
    if posted.get("leave"):
        return leave(request, patient)
    if posted.get("start_again"):
        drop_draft(request.user, DRAFT, patient.key)
        return redirect("operation-new", patient.key)
    if posted.get("add_toe") or posted.get("remove_toe"):
        return entry_page(request, patient, entry_for(request, patient, initial=with_other_toes(posted)))
    if posted.get("use_template"):
        return entry_page(request, patient, entry_for(request, patient, initial=with_template(request)))
    return save(request, patient)


def first_answers(member: Member, consented_by: str) -> dict[str, str]:
    """Who operates, and who consented by the consents on record; nothing clinical."""
    return {"visit-operator": member.key, "visit-consent_given_by": consented_by}


def consented_by(patient: Patient) -> str:
    """Whoever gave the consents that count today; empty where nobody did, or not always the same person."""
    givers = {consent.given_by for consent in usable_for(patient, timezone.localdate(), without=None)}
    return givers.pop() if len(givers) == 1 else ""


def entry_for(request: HttpRequest, patient: Patient, **options: Any) -> OperationEntry:
    return OperationEntry(
        member=request.user,
        born_on=patient.identity.born_on,
        today=timezone.localdate(),
        earlier=earlier_sides(patient, without=options.get("operation")),
        consents=list(patient.consents.standing()),
        decided=decided_already(options.get("operation")),
        templates=() if options.get("operation") else own_templates(request.user),
        **options,
    )


def decided_already(operation: Operation | None) -> set[tuple[int, str]]:
    """By toe, the differences from a consent that somebody has decided about."""
    return set(operation.site_decisions.values_list("nail_procedure_id", "fact")) if operation else set()


def own_templates(member: Member) -> list[OperationTemplate]:
    return list(OperationTemplate.objects.visible_to(member).order_by("name"))


def earlier_sides(patient: Patient, *, without: Operation | None) -> list[TreatedSide]:
    """Sides of this patient's standing operations, newest first."""
    sides = TreatedSide.objects.filter(
        nail_procedure__operation__patient=patient, nail_procedure__operation__struck_at__isnull=True
    )
    if without:
        sides = sides.exclude(nail_procedure__operation=without)
    fetched = sides.select_related("nail_procedure__operation")
    return list(fetched.order_by("-nail_procedure__operation__performed_on", "-pk"))


def entry_page(
    request: HttpRequest, patient: Patient, entry: OperationEntry, *, status: int = 200, **more: Any
) -> HttpResponse:
    shown = {
        "patient": patient,
        "identity": patient.identity,
        "age": patient.identity.age_on(timezone.localdate()),
        "risks": [(label, answer) for label, answer, present in risks_of(patient) if present],
        "entry": entry,
        "errors": list(entry.errors()),
        "once": request.POST.get("once") or new_token(),
        "clearance": clearance_to_show(patient, entry.operation, timezone.localdate()),
        "practice": request.user.practice,
        **more,
    }
    return render(request, "procedures/record.html", shown, status=status)


def clearance_to_show(patient: Patient, operation: Operation | None, today: date) -> Clearance:
    if operation:
        return clearance_of(operation)
    return clearance_before(patient, today, usable_for(patient, today, without=None))


def plain_answers(posted: QueryDict) -> dict[str, Any]:
    return {name: posted[name] for name in posted}


def with_other_toes(posted: QueryDict) -> dict[str, Any]:
    """Everything typed, with one toe more or one less."""
    answers = plain_answers(posted)
    if posted.get("add_toe"):
        return answers | {"toes": str(min(count_of(answers, MOST_TOES) + 1, MOST_TOES))}
    number = posted["remove_toe"]
    return without_toe(answers, int(number) if number in {"1", "2", "3", "4"} else 0, MOST_TOES)


def with_template(request: HttpRequest) -> dict[str, Any]:
    """Everything typed, with the chosen template where nothing was answered; what another one filled in goes."""
    answers, practice = without_buttons(plain_answers(request.POST)), request.user.practice
    templates = {each.key: each for each in own_templates(request.user)}
    toes = [f"toe{number}" for number in range(1, count_of(answers, MOST_TOES) + 1)]
    answers.pop("template-checked", None)
    if earlier := templates.get(answers.pop("template-key", "")):
        answers = emptied(answers, toes, earlier, practice)
    chosen = request.POST["use_template"]
    if chosen == NO_TEMPLATE:
        return answers
    if chosen not in templates:
        raise Http404(chosen)
    if not templates[chosen].offered:
        messages.error(request, f"The template “{templates[chosen]}” is no longer offered.")
        return answers
    return filled(answers, toes, templates[chosen], practice) | {"template-key": chosen}


def leave(request: HttpRequest, patient: Patient) -> HttpResponse:
    try:
        keep_draft(request.user, DRAFT, patient.key, without_buttons(plain_answers(request.POST)))
    except DraftRefused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.info(request, "Draft kept. Nothing is saved as an operation yet.")
    return redirect("patient", patient.key)


def without_buttons(answers: dict[str, Any]) -> dict[str, Any]:
    buttons = {"leave", "add_toe", "remove_toe", "start_again", "use_template"}
    return {name: value for name, value in answers.items() if name not in buttons}


def save(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Six posts of one form make one operation; the others are led to it."""
    entry = entry_for(request, patient, data=request.POST)
    valid = entry.is_valid()
    if earlier := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(earlier)
    address = saved(request, patient, entry, timezone.localtime()) if valid else ""
    return redirect(address) if address else entry_page(request, patient, entry)


def saved(request: HttpRequest, patient: Patient, entry: OperationEntry, now: datetime) -> str:
    """Record the operation, or find the one that the same form made before; gives the address to go to.

    Empty if somebody else has just recorded the same toe of that day.
    """
    first_toe_key, operation_key = random_key(), random_key()
    goes_to = reverse("toe", args=[first_toe_key])
    if entry.is_timed:
        goes_to = reverse("room", args=[operation_key])
    with transaction.atomic():
        # Two people at one patient go one after the other, so that the second one sees the first one's toes.
        patient = lock_person(patient)
        if earlier := claim(request.user, entry.once[0].once, goes_to):
            return earlier
        if entry.taken_by_now(earlier_sides(patient, without=None)):
            transaction.set_rollback(True)
            return ""
        operation = record_operation(
            by=request.user,
            patient=patient,
            values=entry.values(),
            now=now,
            reason=entry.reason,
            key=operation_key,
            first_toe_key=first_toe_key,
        )
        drop_draft(request.user, DRAFT, patient.key)
    messages.success(
        request,
        f"Operation saved {now:%H:%M}. {patient.identity.spoken_name}, {entry.sites()}.",
        extra_tags=reverse("operation-undo", args=[operation.key]),
    )
    return through_flags(operation, goes_to)


# --- one operation


def own_operation(request: HttpRequest, key: str) -> Operation:
    visible = Operation.objects.visible_to(request.user).select_related(
        "patient__identity", "operator", "recorded_by", "template"
    )
    with_parts = visible.prefetch_related("nail_procedures__treated_sides__applications")
    return get_object_or_404(with_parts, key=key)


@require_methods("GET")
@allowed(Action.READ_RECORD)
def operation(request: HttpRequest, key: str) -> HttpResponse:
    return operation_page(request, own_operation(request, key), StrikeForm())


def operation_page(request: HttpRequest, operation: Operation, form: StrikeForm) -> HttpResponse:
    may_change = may(request.user.role, Action.RECORD_OPERATION) and not operation.struck_at
    shown = {
        "clearance": clearance_of(operation),
        "may_decide": may(request.user.role, Action.RECORD_OPERATION) and not operation.struck_at,
        "may_see_amendments": may(request.user.role, Action.SET_AUDIT),
        "operation": operation,
        "identity": operation.patient.identity,
        "toes": nails_in_order(operation),
        "steps": history_of(operation),
        "form": form,
        "may_amend": may_change,
        "may_strike": may_change and may_strike(request.user, operation.recorded_by_id),
        "may_undo": may_change and may_undo(request.user, operation, timezone.now()),
    }
    return render(request, "procedures/operation.html", shown)


def may_undo(member: Member, operation: Operation, now: datetime) -> bool:
    fresh = now - operation.recorded_at <= UNDO_FOR and operation.version == 1
    return fresh and operation.recorded_by_id == member.pk


@require_methods("POST")
@allowed(Action.RECORD_OPERATION)
def operation_strike(request: HttpRequest, key: str) -> HttpResponse:
    operation = own_operation(request, key)
    form = StrikeForm(request.POST)
    if may_strike(request.user, operation.recorded_by_id) and not form.is_valid():
        return operation_page(request, operation, form)

    def act(reason: str) -> None:
        strike_operation(by=request.user, operation=operation, now=timezone.now(), reason=reason)

    strike_out(request, operation, form, act, what="operation", author_id=operation.recorded_by_id)
    return redirect("operation", operation.key)


@require_methods("POST")
@allowed(Action.RECORD_OPERATION)
def operation_undo(request: HttpRequest, key: str) -> HttpResponse:
    """Take back the operation just saved, and open the page again with its answers."""
    operation = own_operation(request, key)
    answers = answers_of(operation, timezone.localdate())
    try:
        with transaction.atomic():
            undo_operation(by=request.user, operation=operation, now=timezone.now())
            keep_draft(request.user, DRAFT, operation.patient.key, answers)
    except (TooLateToUndo, Conflict):
        messages.error(request, "It is too late to undo this operation. Correct it, or strike it out, with a reason.")
        return redirect("operation", operation.key)
    messages.success(request, "Operation taken back. Your answers are below; nothing is saved now.")
    return redirect("operation-new", operation.patient.key)


# --- correcting


@require_methods("GET", "POST")
@allowed(Action.RECORD_OPERATION)
def operation_amend(request: HttpRequest, key: str) -> HttpResponse:
    operation = own_operation(request, key)
    if operation.struck_at:
        messages.error(request, "A struck-out operation cannot be corrected.")
        return redirect("operation", operation.key)
    initial = answers_of(operation, timezone.localdate())
    if request.method == "GET":
        entry = entry_for(request, operation.patient, initial=initial, operation=operation)
        return amend_page(request, operation, entry)
    entry = entry_for(request, operation.patient, data=request.POST, operation=operation)
    if not entry.is_valid() or not amended(request, operation, entry):
        return amend_page(request, own_operation(request, key), entry)
    messages.success(request, f"Correction saved {timezone.localtime():%H:%M}. The earlier values are kept below.")
    return redirect(through_flags(operation, reverse("operation", args=[operation.key])))


def amended(request: HttpRequest, operation: Operation, entry: OperationEntry) -> bool:
    """Whether the correction is saved; otherwise the entry says why not."""
    try:
        amend_operation(
            by=request.user,
            operation=operation,
            version=typed_version(request),
            values=entry.values(),
            now=timezone.now(),
            reason=entry.reason,
        )
    except Conflict:
        entry.conflict = True
    except ReviewLiesBefore as refusal:
        entry.visit.add_error(
            "performed_on", f"A review is dated {say_day(refusal.seen_on)}, before this operation date; check both"
        )
    except SideHasFindings as refusal:
        refuse_taking_away(entry, refusal.side)
    except IntegrityError:
        entry.toes[0].add_error("toe", "Two toes of one operation cannot trade places in one correction; do one first")
    return not entry.conflict and not any(form.errors for form in entry.parts())


def refuse_taking_away(entry: OperationEntry, treated: TreatedSide) -> None:
    nail = treated.nail_procedure
    for form in entry.toes:
        if form.nail and form.nail.pk == nail.pk:
            form.add_error(
                "side",
                f"The {part_name(treated.side)} of the {toe_name(nail.foot, nail.toe)} has review findings, or a later "
                "operation revises it, and cannot be taken away",
            )


def amend_page(request: HttpRequest, operation: Operation, entry: OperationEntry) -> HttpResponse:
    """After a conflict, saving the typed answers again is a decision: the page carries the stored version."""
    typed = typed_version(request) if request.method == "POST" else operation.version
    version = operation.version if entry.conflict else typed
    more: dict[str, Any] = {"operation": operation, "version": version}
    if entry.conflict:
        more |= {
            "differences": entry.differences(answers_of(operation, timezone.localdate())),
            "last_change": operation.history.select_related("history_user").first(),
        }
    return entry_page(request, operation.patient, entry, status=409 if entry.conflict else 200, **more)
