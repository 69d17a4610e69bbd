"""Record a review at the chairside, read it, correct it, undo it; the toe's timeline; drafts."""

from contextlib import suppress
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access.answers import ReasonForm, typed_version
from clinic.access.decorators import allowed, require_methods
from clinic.access.drafts import DraftRefused, draft_of, drop_draft, keep_draft
from clinic.access.models import Conflict, Member
from clinic.access.numbers import say_day
from clinic.access.once import claim, first_or_result, new_token
from clinic.access.rules import Action, may
from clinic.access.striking import may_strike, strike_out
from clinic.patients.models import Patient
from clinic.photographs.forms import PhotographForm
from clinic.photographs.reading import photographs_of
from clinic.procedures.models import NailProcedure, Operation, TreatedSide
from clinic.redflags.reading import through_flags
from clinic.reviews.answers import answers_of, first_answers
from clinic.reviews.forms import ReviewEntry
from clinic.reviews.history import history_of
from clinic.reviews.models import Review, SideFinding, ToeFinding
from clinic.reviews.recording import (
    Findings,
    TooLateToUndo,
    accept_report,
    correct_review,
    may_undo,
    record_review,
    strike_review,
    undo_review,
)
from clinic.reviews.seen import just_seen, seen_of, with_gaps
from clinic.reviews.sentences import how_seen, side_sentence, site, toe_sentence
from clinic.reviews.timeline import clinic_ended, story_of, window_words
from clinic.schedule import Seen, next_point, point_of, schedule_of
from clinic.vocabulary.review import NextStep, Observer

DRAFT = "review"


def _operation(request: HttpRequest, key: str) -> Operation:
    """The operation with its toes and sides; with its earlier reviews where an answer is checked against them."""
    visible = Operation.objects.visible_to(request.user).standing()
    visible = visible.select_related("patient__identity", "operator", "planned")
    with_parts = visible.prefetch_related(
        Prefetch("nail_procedures", NailProcedure.objects.order_by("-foot", "toe")),
        Prefetch("nail_procedures__treated_sides", TreatedSide.objects.order_by("-side")),
    )
    if request.method == "POST":
        earlier = with_gaps(Review.objects.standing()).select_related("recorded_by").prefetch_related("side_findings")
        with_parts = with_parts.prefetch_related(Prefetch("reviews", earlier))
    operation = get_object_or_404(with_parts, key=key)
    operation.practice = request.user.practice  # the same row, with its schedules, without asking again
    return operation


def _own_review(request: HttpRequest, key: str) -> Review:
    visible = Review.objects.visible_to(request.user).select_related(
        "operation__patient__identity", "operation__operator", "operation__planned", "recorded_by", "seen_by",
        "accepted_by", "patient_report",
    )  # fmt: skip
    with_parts = visible.prefetch_related(
        Prefetch("toe_findings", ToeFinding.objects.select_related("nail_procedure")),
        "toe_findings__nail_procedure__treated_sides",
        Prefetch("side_findings", SideFinding.objects.select_related("treated_side__nail_procedure")),
    )
    return get_object_or_404(with_parts, key=key)


@require_methods("GET", "POST")
@allowed(Action.RECORD_REVIEW)
def record(request: HttpRequest, key: str) -> HttpResponse:
    operation = _operation(request, key)
    now = timezone.localtime()
    if request.method == "POST":
        if request.POST.get("leave"):
            try:
                keep_draft(request.user, DRAFT, operation.key, _plain(request.POST))
            except DraftRefused as refusal:
                entry = _entry(request, operation, now)
                entry.foreign_errors = [str(refusal)]
                return render(request, "reviews/record.html", _page(operation, entry, now, once=new_token()))
            messages.info(request, "Draft kept. Nothing is saved as a review yet.")
            return redirect("toe", operation.nail_procedures.all()[0].key)
        if request.POST.get("start_again"):
            drop_draft(request.user, DRAFT, operation.key)
            return redirect("review-record", operation.key)
    once = request.POST.get("once") or new_token()
    entry = _entry(request, operation, now)
    if request.method == "POST" and entry.is_valid():
        try:
            return redirect(through_flags(operation, _save(request, operation, entry, now, once)))
        except Conflict:
            entry.foreign_errors = ["The operation was corrected just now. Your answers are kept; check and save again"]
    if request.method == "POST":
        # The same form sent again is no longer valid once it has been saved: that day has its review by then.
        if earlier := first_or_result(request.user, request.POST.get("once", "")):
            return redirect(earlier)
        with suppress(DraftRefused):  # "everything else is kept" must be true even if the page is left now
            keep_draft(request.user, DRAFT, operation.key, _plain(request.POST))
    page = _page(operation, entry, now, once=once, has_draft=request.method == "GET" and entry.from_draft)
    return render(request, "reviews/record.html", page)


def _entry(request: HttpRequest, operation: Operation, now: datetime) -> ReviewEntry:
    data = request.POST if request.method == "POST" else None
    kept = draft_of(request.user, DRAFT, operation.key) if data is None else None
    booked = any(
        timezone.localtime(booking.starts_at).date() == now.date()
        for booking in (operation.bookings.filter(cancelled_at__isnull=True) if data is None else ())
    )
    initial = first_answers(operation, by_key=request.user.pk, today=now.date(), booked=booked) | (kept or {})
    earlier = list(operation.reviews.all()) if data is not None else []
    entry = ReviewEntry(operation=operation, earlier=earlier, today=now.date(), data=data, initial=initial)
    entry.from_draft = bool(kept)
    return entry


def _save(request: HttpRequest, operation: Operation, entry: ReviewEntry, now: datetime, once: str) -> str:
    """Record the review, or find the one that the same form made before; gives the address to go to."""
    goes_to = reverse("toe", args=[operation.nail_procedures.all()[0].key])
    with transaction.atomic():
        if earlier := claim(request.user, once, leads_to=goes_to):
            return earlier
        review = record_review(
            by=request.user,
            operation=operation,
            visit=entry.visit.cleaned_data,
            findings=entry.findings(),
            now=now,
            reason=entry.reason,
        )
        drop_draft(request.user, DRAFT, operation.key)
    messages.success(
        request,
        _saved_words(operation, review, entry.findings(), now),
        extra_tags=reverse("review-undo", args=[review.key]),
    )
    return goes_to


def _saved_words(operation: Operation, review: Review, findings: Findings, now: datetime) -> str:
    """Who, which toe and side, and what is next."""
    sites = "; ".join(site(nail) for nail in operation.nail_procedures.all())
    schedule = schedule_of(operation, operation.practice)
    outside = "" if point_of(review.day, schedule) else f" Day {review.day} is outside every window: an extra review."
    earlier = operation.reviews.all()
    upcoming = next_point(
        performed_on=operation.performed_on,
        seen=[*seen_of(earlier), just_seen(review, findings)],
        today=now.date(),
        clinic_ended=clinic_ended([*earlier, review]),
        schedule=schedule,
    )
    following = f" Next: {upcoming.name}, {window_words(upcoming, operation.performed_on)}." if upcoming else ""
    return f"Review saved {now:%H:%M} for {operation.patient.identity.spoken_name}, {sites}.{outside}{following}"


def _page(operation: Operation, entry: ReviewEntry, now: datetime, **more: Any) -> dict[str, Any]:
    day = (now.date() - operation.performed_on).days
    schedule = schedule_of(operation, operation.practice)
    upcoming = next_point(  # what follows after today's visit
        performed_on=operation.performed_on, seen=[Seen(day)], today=now.date(), schedule=schedule
    )
    return {
        "operation": operation,
        "identity": operation.patient.identity,
        "age": operation.patient.identity.age_on(now.date()),
        "entry": entry,
        "errors": entry.errors() if entry.data is not None else [],
        "day": day,
        "point": point_of(day, schedule),
        "following": window_words(upcoming, operation.performed_on) if upcoming else "",
        "following_name": upcoming.name if upcoming else "",
        "end_clinic": NextStep.END_CLINIC.value,
        **more,
    }


def _plain(posted) -> dict[str, Any]:
    """Posted answers as a dictionary that a form takes as initial values; several ticks stay a list."""
    several = {name for name in posted if name.endswith("-other")}
    return {name: posted.getlist(name) if name in several else posted[name] for name in posted}


@require_methods("POST")
@allowed(Action.RECORD_REVIEW)
def keep(request: HttpRequest, form: str, subject: str) -> HttpResponse:
    """Keep what is typed on the server; answers with the local time."""
    owners = {DRAFT: Operation.objects.visible_to(request.user), "operation": Patient.objects.visible_to(request.user)}
    if form not in owners:
        return JsonResponse({"error": "unknown form"}, status=404)
    get_object_or_404(owners[form], key=subject)
    try:
        keep_draft(request.user, form, subject, _plain(request.POST))
    except DraftRefused as refusal:
        return JsonResponse({"error": str(refusal)}, status=413)
    return JsonResponse({"kept_at": f"{timezone.localtime():%H:%M}"})


@require_methods("GET")
@allowed(Action.READ_RECORD)
def toe(request: HttpRequest, key: str) -> HttpResponse:
    """The toe's timeline, and how it counts in the audit."""
    own = NailProcedure.objects.filter(operation__in=Operation.objects.visible_to(request.user))
    nail = get_object_or_404(
        own.select_related(
            "operation__patient__identity", "operation__operator", "operation__practice", "operation__planned"
        ).prefetch_related(
            Prefetch("treated_sides", TreatedSide.objects.order_by("-side")), "treated_sides__applications"
        ),
        key=key,
    )
    reviews = list(
        with_gaps(Review.objects.filter(operation=nail.operation))
        .select_related("recorded_by")
        .prefetch_related("toe_findings", "side_findings")
    )
    today = timezone.localdate()
    others = (
        NailProcedure.objects.filter(operation__patient_id=nail.operation.patient_id, operation__struck_at__isnull=True)
        .exclude(pk=nail.pk)
        .select_related("operation")
        .prefetch_related("treated_sides")
        .order_by("-operation__performed_on", "-foot", "toe")
    )
    may_review = may(request.user.role, Action.RECORD_REVIEW)
    standing = [review for review in reviews if not review.struck_at]
    add_form = PhotographForm(nail=nail, member=request.user, reviews=standing, today=today)
    context = {
        "nail": nail,
        "site": site(nail),
        "operation": nail.operation,
        "identity": nail.operation.patient.identity,
        "story": story_of(nail, reviews, today=today, schedule=schedule_of(nail.operation, request.user.practice)),
        "others": [(other, site(other)) for other in others],
        "today": today,
        "photographs": photographs_of(nail),
        "photograph_form": add_form if may_review and not nail.operation.struck_at else None,
        "may_review": may_review,
        "may_undo": {review.key for review in reviews if may_undo(request.user, review, timezone.now())},
    }
    return render(request, "reviews/toe.html", context)


@require_methods("GET")
@allowed(Action.READ_RECORD)
def read(request: HttpRequest, key: str) -> HttpResponse:
    review = _own_review(request, key)
    operation = review.operation
    toes = []
    for finding in review.toe_findings.all():
        nail = finding.nail_procedure
        sides = [
            side_sentence(row, row.treated_side.side)
            for row in review.side_findings.all()
            if row.treated_side.nail_procedure_id == nail.pk
        ]
        toes.append({"nail": nail, "site": site(nail), "text": toe_sentence(finding), "sides": sides})
    context = {
        "review": review,
        "operation": operation,
        "identity": operation.patient.identity,
        "point": point_of(review.day, schedule_of(operation, request.user.practice)),
        "seen": how_seen(review),
        "toes": toes,
        "steps": history_of(review),
        "may_accept": may(request.user.role, Action.ACCEPT_REPORT)
        and review.observer == Observer.PATIENT
        and not review.accepted_at
        and not review.struck_at,
        "may_strike": may_strike(request.user, author_of(review, request.user)),
    }
    return render(request, "reviews/read.html", context)


def author_of(review: Review, member: Member) -> int | None:
    """Who may strike it out besides the lead. A report that waits has no author here: whoever may accept may refuse."""
    if review.observer == Observer.PATIENT and not review.accepted_at:
        return member.pk if may(member.role, Action.ACCEPT_REPORT) else None
    return review.recorded_by_id


@require_methods("GET", "POST")
@allowed(Action.RECORD_REVIEW)
def correct(request: HttpRequest, key: str) -> HttpResponse:
    """Correct a saved review: a new version, with the reason; the old one stays readable."""
    review = _own_review(request, key)
    if review.struck_at:
        return redirect("review", review.key)
    operation = _operation(request, review.operation.key)
    now = timezone.localtime()
    data = request.POST if request.method == "POST" else None
    earlier = [other for other in operation.reviews.all() if other.pk != review.pk] if data is not None else []
    entry = ReviewEntry(operation=operation, earlier=earlier, today=now.date(), data=data, initial=answers_of(review))
    reason = request.POST.get("reason", "").strip()[:200]
    conflict, reason_error = False, ""
    if data is not None:
        valid = entry.is_valid()
        reason_error = "" if reason else "Give the reason for the correction"
        if valid and reason:
            try:
                correct_review(
                    by=request.user,
                    review=review,
                    version=typed_version(request),
                    visit=entry.visit.cleaned_data,
                    findings=entry.findings(),
                    reason=" · ".join(filter(None, (reason, entry.reason))),
                    now=now,
                )
                messages.success(
                    request, f"Review of {say_day(review.seen_on)} corrected. The earlier answers are kept below."
                )
                return redirect(through_flags(operation, reverse("review", args=[review.key])))
            except Conflict:
                conflict = True
                review = _own_review(request, key)
    errors = [("id_reason", reason_error)] if reason_error else []
    context = _page(operation, entry, now, review=review, conflict=conflict, reason=reason, reason_error=reason_error)
    context["errors"] = context["errors"] + errors
    # After a mistake the page keeps the version that was shown, or a change in between would be lost in silence.
    context["version"] = review.version if conflict or data is None else typed_version(request)
    if conflict:
        context["stored"] = [toe_sentence(row) for row in review.toe_findings.all()] + [
            side_sentence(row, row.treated_side.side) for row in review.side_findings.all()
        ]
        context["last_change"] = review.history.select_related("history_user").first()
    return render(request, "reviews/record.html", context, status=409 if conflict else 200)


@require_methods("POST")
@allowed(Action.RECORD_REVIEW)
def undo(request: HttpRequest, key: str) -> HttpResponse:
    """Take back the review just saved and open the form again with its answers."""
    review = _own_review(request, key)
    answers = answers_of(review)
    answers["visit-seen_on"] = review.seen_on.isoformat()
    try:
        with transaction.atomic():
            undo_review(by=request.user, review=review, now=timezone.now())
            keep_draft(request.user, DRAFT, review.operation.key, answers)
    except (TooLateToUndo, Conflict):
        messages.error(request, "It is too late to undo this review. Correct it instead, with a reason.")
        return redirect("review", review.key)
    messages.success(request, "Review taken back. Your answers are below; nothing is saved yet.")
    return redirect("review-record", review.operation.key)


@require_methods("POST")
@allowed(Action.RECORD_REVIEW)
def strike(request: HttpRequest, key: str) -> HttpResponse:
    """Strike out a wrong review, with a reason; the lead or the person who recorded it.

    A patient's report that waits may be refused by whoever may accept it.
    """
    review = _own_review(request, key)

    def act(reason: str) -> None:
        strike_review(by=request.user, review=review, now=timezone.now(), reason=reason)

    strike_out(request, review, ReasonForm(request.POST), act, what="review", author_id=author_of(review, request.user))
    return redirect("review", review.key)


@require_methods("POST")
@allowed(Action.ACCEPT_REPORT)
def accept(request: HttpRequest, key: str) -> HttpResponse:
    """Accept a patient's report; from then on it counts, labelled as the patient's."""
    review = _own_review(request, key)
    if review.observer == Observer.PATIENT and not review.accepted_at and not review.struck_at:
        with suppress(Conflict):  # somebody accepted it at the same moment
            accept_report(by=request.user, review=review, now=timezone.now())
        messages.success(request, "Report accepted. It counts as the patient's own report.")
    return redirect("review", review.key)
