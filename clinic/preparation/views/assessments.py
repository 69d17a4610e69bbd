"""The assessment: new, change, read, strike out; and what is decided about its flags."""

from datetime import date, datetime
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access.answers import StrikeForm
from clinic.access.decorators import allowed, refused, require_methods
from clinic.access.drafts import DraftRefused, draft_of, drop_draft, keep_draft
from clinic.access.models import Conflict, random_key
from clinic.access.numbers import DayField
from clinic.access.once import claim, first_or_result, new_token
from clinic.access.rules import Action, may
from clinic.access.striking import may_strike
from clinic.patients.models import RISK_FIELDS, Patient
from clinic.patients.own import own_patient
from clinic.preparation.clearance import FlagState, states_of
from clinic.preparation.forms import AssessmentEntry, DecideForm, answers_of, typed_answers, with_other_toes
from clinic.preparation.history import history_of
from clinic.preparation.models import Assessment
from clinic.preparation.reading import sections_of
from clinic.preparation.recording import change_assessment, decide_flag, record_assessment
from clinic.preparation.views.shared import bar_of, strike_entry
from clinic.vocabulary.preparation import Diabetes, FlagLevel, Topic
from clinic.vocabulary.procedure import Answer

DRAFT = "assessment"


# --- a new assessment


@require_methods("GET", "POST")
@allowed(Action.RECORD_REVIEW)
def assessment_new(request: HttpRequest, key: str) -> HttpResponse:
    patient = own_patient(request, key)
    if request.method == "GET":
        kept = draft_of(request.user, DRAFT, patient.key)
        entry = entry_for(request, patient, initial=kept or first_answers(request))
        return entry_page(request, patient, entry, has_draft=bool(kept))
    posted = request.POST
    if posted.get("leave"):
        return leave(request, patient)
    if posted.get("start_again"):
        drop_draft(request.user, DRAFT, patient.key)
        return redirect("assessment-new", patient.key)
    if posted.get("add_toe") or posted.get("remove_toe"):
        return entry_page(request, patient, entry_for(request, patient, initial=with_other_toes(posted)))
    entry = entry_for(request, patient, data=posted)
    valid = entry.is_valid()
    if earlier := first_or_result(request.user, posted.get("once", "")):
        return redirect(earlier)
    if valid:
        return redirect(recorded(request, patient, entry, timezone.now()))
    return entry_page(request, patient, entry)


def first_answers(request: HttpRequest) -> dict[str, str]:
    """Day and person may be filled in beforehand; nothing clinical."""
    today = timezone.localdate().isoformat()
    return {"visit-assessed_on": today, "visit-assessed_by": request.user.key, "body-weight_on": today}


def entry_for(request: HttpRequest, patient: Patient, **options: Any) -> AssessmentEntry:
    return AssessmentEntry(member=request.user, patient=patient, today=timezone.localdate(), **options)


def entry_page(
    request: HttpRequest, patient: Patient, entry: AssessmentEntry, *, status: int = 200, **more: Any
) -> HttpResponse:
    shown = {
        **bar_of(patient),
        "entry": entry,
        "errors": list(entry.errors()),
        "once": request.POST.get("once") or new_token(),
        **more,
    }
    return render(request, "preparation/assessment_form.html", shown, status=status)


def leave(request: HttpRequest, patient: Patient) -> HttpResponse:
    try:
        keep_draft(request.user, DRAFT, patient.key, typed_answers(request.POST))
    except DraftRefused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.info(request, "Draft kept. Nothing is saved as an assessment yet.")
    return redirect("patient", patient.key)


def recorded(request: HttpRequest, patient: Patient, entry: AssessmentEntry, now: datetime) -> str:
    """Record it, or find the one that the same form made before; gives the address to go to."""
    key = random_key()
    goes_to = reverse("assessment", args=[key])
    with transaction.atomic():
        if earlier := claim(request.user, entry.once.once, goes_to):
            return earlier
        record_assessment(
            by=request.user, patient=patient, values=entry.values(), now=now, reason=entry.reason, key=key
        )
        drop_draft(request.user, DRAFT, patient.key)
    messages.success(request, f"Assessment saved {timezone.localtime(now):%H:%M}.")
    return goes_to


# --- one assessment


def own_assessment(request: HttpRequest, key: str) -> Assessment:
    return get_object_or_404(Assessment.objects.visible_to(request.user).with_parts(), key=key)


@require_methods("GET")
@allowed(Action.READ_RECORD)
def assessment(request: HttpRequest, key: str) -> HttpResponse:
    return assessment_page(request, own_assessment(request, key))


def assessment_page(
    request: HttpRequest, assessment: Assessment, *, asked: DecideForm | None = None, status: int = 200
) -> HttpResponse:
    """asked: a form about a flag that was answered incompletely."""
    on, refusal = operation_day(request)
    states = [] if assessment.struck_at else states_of(assessment, on, vasoconstrictor=True)
    may_change = may(request.user.role, Action.RECORD_REVIEW) and not assessment.struck_at
    shown = {
        **bar_of(assessment.patient),
        "assessment": assessment,
        "on": on,
        "on_refusal": refusal,
        "flags": [(state, form_about(request, state, on, asked)) for state in states if not is_conditional(state)],
        "conditional": [(state, form_about(request, state, on, asked)) for state in states if is_conditional(state)],
        "still_open": sum(state.is_open for state in states if not is_conditional(state)),
        "asked": asked,
        "sections": sections_of(assessment),
        "contradictions": contradictions(assessment),
        "steps": history_of(assessment),
        "may_change": may_change,
        "may_consent": may_change,
        "end_form": StrikeForm(version=assessment.version),
        "may_strike": may_change and may_strike(request.user, assessment.recorded_by_id),
    }
    return render(request, "preparation/assessment.html", shown, status=status)


def operation_day(request: HttpRequest) -> tuple[date, str]:
    """The day that results are measured against: as asked, otherwise today; and what was wrong with the answer."""
    given, today = request.POST.get("on") or request.GET.get("on"), timezone.localdate()
    field = DayField(label_for_errors="the day of the operation", may_be_future=True, required=False)
    try:
        return field.clean(given) or today, ""
    except ValidationError as error:
        return today, error.messages[0]


def is_conditional(state: FlagState) -> bool:
    """It weighs only if the anaesthetic holds a vasoconstrictor, which nobody has chosen yet."""
    return state.flag.code.startswith("vasoconstrictor_")


def form_about(request: HttpRequest, state: FlagState, on: date, asked: DecideForm | None) -> DecideForm | None:
    """The form for those who may answer this flag; none for a note, which asks for nothing."""
    needed = {FlagLevel.STOP: Action.RECORD_OPERATION, FlagLevel.CAUTION: Action.RECORD_REVIEW}.get(state.flag.level)
    if needed is None or not may(request.user.role, needed):
        return None
    return asked if asked and asked.flag == state.flag else DecideForm(flag=state.flag, on=on)


def contradictions(assessment: Assessment) -> list[str]:
    """Where the risks on the patient's own page say otherwise."""
    found = {
        "diabetes": {Diabetes.NONE: Answer.NO}.get(
            Diabetes(assessment.diabetes), Answer.YES if Diabetes(assessment.diabetes).present else None
        ),
        "antithrombotic": any_of(assessment, Topic.ANTITHROMBOTIC),
    }
    words = {"diabetes": "diabetes", "antithrombotic": "medicines against clotting"}
    known = {Answer.YES, Answer.NO}
    return [
        f"The patient's page answers {words[name]} with “{getattr(assessment.patient, f'get_{name}_display')()}”"
        for name in RISK_FIELDS
        if name in found and found[name] and {getattr(assessment.patient, name)} <= known - {found[name]}
    ]


def any_of(assessment: Assessment, topic: Topic) -> Answer | None:
    answers = {item.answer for item in assessment.items.all() if item.topic == topic}
    if Answer.YES in answers:
        return Answer.YES
    return Answer.NO if answers == {Answer.NO.value} else None


# --- flags


@require_methods("POST")
@allowed(Action.RECORD_REVIEW)
def flag_decide(request: HttpRequest, key: str) -> HttpResponse:
    """Acknowledge a caution, or enter the decision on a stop; each post of a form once."""
    assessment = own_assessment(request, key)
    state = asked_about(request, assessment)
    if state is None:
        messages.error(request, "This flag is not raised any more, or not in these words. Read the flags again.")
        return redirect("assessment", assessment.key)
    if state.flag.level == FlagLevel.STOP and not may(request.user.role, Action.RECORD_OPERATION):
        return refused(request, Action.RECORD_OPERATION)
    on, _ = operation_day(request)
    form = DecideForm(request.POST, flag=state.flag, on=on)
    if not form.is_valid():
        return assessment_page(request, assessment, asked=form)
    goes_to = f"{reverse('assessment', args=[assessment.key])}?on={on.isoformat()}"
    with transaction.atomic():
        if earlier := claim(request.user, form.once, goes_to):
            return redirect(earlier)
        decide_flag(
            by=request.user,
            assessment=assessment,
            flag=state.flag,
            outcome=form.outcome_of(state.flag),
            text=form.cleaned_data["text"],
            now=timezone.now(),
        )
    messages.success(request, f"{form.outcome_of(state.flag).label}: {state.flag.fact}.")
    return redirect(goes_to)


def asked_about(request: HttpRequest, assessment: Assessment) -> FlagState | None:
    """The flag a post is about, if it still stands in the words that were shown."""
    on, refusal = operation_day(request)
    wanted = request.POST.get("code"), request.POST.get("fact")
    if refusal or assessment.struck_at:
        return None
    states = states_of(assessment, on, vasoconstrictor=True)
    raised = (state for state in states if state.flag.level != FlagLevel.NOTE)
    return next((state for state in raised if (state.flag.code, state.flag.fact) == wanted), None)


# --- changing, striking out


@require_methods("GET", "POST")
@allowed(Action.RECORD_REVIEW)
def assessment_change(request: HttpRequest, key: str) -> HttpResponse:
    assessment = own_assessment(request, key)
    if assessment.struck_at:
        messages.error(request, "A struck-out assessment cannot be changed.")
        return redirect("assessment", assessment.key)
    patient, today = assessment.patient, timezone.localdate()
    posted = request.POST
    if request.method == "GET":
        entry = entry_for(request, patient, initial=answers_of(assessment, today), assessment=assessment)
        return entry_page(request, patient, entry, assessment=assessment)
    if posted.get("add_toe") or posted.get("remove_toe"):
        entry = entry_for(request, patient, initial=with_other_toes(posted), assessment=assessment)
        return entry_page(request, patient, entry, assessment=assessment)
    entry = entry_for(request, patient, data=posted, assessment=assessment)
    if not entry.is_valid():
        return entry_page(request, patient, entry, assessment=assessment)
    try:
        change_assessment(
            by=request.user,
            assessment=assessment,
            version=entry.version.version,
            values=entry.values(),
            reason=entry.reason,
        )
    except Conflict:
        return conflict_page(request, own_assessment(request, key), entry)
    messages.success(request, f"Change saved {timezone.localtime():%H:%M}. The earlier values are kept below.")
    return redirect("assessment", assessment.key)


def conflict_page(request: HttpRequest, stored: Assessment, entry: AssessmentEntry) -> HttpResponse:
    """What is stored now beside what was typed; saving again is then a decision."""
    entry.version.catch_up(stored.version)
    more = {
        "assessment": stored,
        "differences": entry.differences(answers_of(stored, timezone.localdate())),
        "last_change": stored.history.select_related("history_user").first(),
    }
    return entry_page(request, stored.patient, entry, status=409, **more)


@require_methods("POST")
@allowed(Action.RECORD_REVIEW)
def assessment_strike(request: HttpRequest, key: str) -> HttpResponse:
    assessment = own_assessment(request, key)
    strike_entry(request, assessment, what="assessment")
    return redirect("assessment", assessment.key)
