"""Steps 1 to 3 of the yearly audit: period, data quality, results; and the list of audit years."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from audit import cycle
from audit.cycle import SignedYear
from audit.measures.definitions import Outcome
from audit.measures.years import year_label, year_of
from audit.models import AuditYear, SignedAudit
from audit.periods import audit_year, matured, matures_on, said
from audit.views.answers import Answer
from audit.views.desk import Desk, desk_of, has_moved_on, page, step_page
from audit.views.results import course_page, outcome_page
from audit.workspace_forms import MeaningForm, PeriodForm, ReadForm
from clinic.access.decorators import allowed, require_methods
from clinic.access.forms import differences
from clinic.access.models import Conflict
from clinic.access.rules import Action as Right

YEARS_LISTED = 6


@require_methods("GET")
@allowed(Right.READ_AUDIT)
def years(request: HttpRequest) -> HttpResponse:
    """The audit years, newest first: which may be audited, which is in work, which is signed."""
    practice, today = request.user.practice, timezone.localdate()
    stored = {row.starting_year: row for row in AuditYear.objects.visible_to(request.user)}
    signed = SignedAudit.objects.filter(audit_year__practice=practice, reopened_at__isnull=True)
    signatures = {row.audit_year_id: row for row in signed.select_related("signed_by").defer("html", "pdf")}
    current = year_of(today, practice.audit_year_starts_month)
    first = min([current - YEARS_LISTED + 1, *stored])
    rows = []
    for year in range(current, first - 1, -1):
        period, row = audit_year(practice, year), stored.get(year)
        rows.append(
            {
                "year": year,
                "label": year_label(year),
                "period": period,
                "matured": matured(period, today),
                "matures_on": matures_on(period),
                "row": row,
                "signature": signatures.get(row.pk) if row else None,
            }
        )
    return render(request, "audit/years.html", {"rows": rows, "ready": any(row["matured"] for row in rows)})


@require_methods("GET", "POST")
@allowed(Right.SET_AUDIT)
def period(request: HttpRequest, year: int) -> HttpResponse:
    desk = desk_of(request, year)
    row = desk.year
    stored = {
        "as_of": row.as_of.isoformat() if row else min(timezone.localdate(), desk.matures_on).isoformat(),
        "aim": row.aim if row else "",
        "context": row.context if row else "",
        "preliminary": desk.is_preliminary,
    }
    form = PeriodForm(
        request.POST if request.method == "POST" else None, initial=stored, version=row.version if row else 0,
        practice=desk.practice, starting_year=year, today=timezone.localdate(),
    )  # fmt: skip
    if request.method == "POST" and desk.signature:
        messages.error(request, "This audit is signed. Open it again with a reason before you change it.")
        return redirect("audit-sign", year)
    if not form.is_valid():
        return page(
            request, "audit/step_period.html", desk, "period", form=form, status=200 if not form.is_bound else 400
        )
    try:
        if (row is None) is not (form.version == 0):
            raise Conflict(str(year))
        if row is None:
            cycle.open_year(by=request.user, starting_year=year, now=desk.now, **form.values())
        else:
            cycle.change_year(by=request.user, year=row, version=form.version, values=form.values())
    except (Conflict, SignedYear):
        return _conflict(request, year, form, "audit/step_period.html", "period")
    messages.success(request, f"Period kept: audit year {desk.label}, data as of {said(form.cleaned_data['as_of'])}.")
    return redirect("audit-quality", year)


@require_methods("GET", "POST")
@allowed(Right.SET_AUDIT)
@step_page("quality")
def quality(request: HttpRequest, desk: Desk) -> HttpResponse:
    """The gaps, rule by rule. They stay in the denominators until the records are corrected."""
    row = desk.year
    form = ReadForm(request.POST if request.method == "POST" else None, version=row.version)
    if request.method == "POST" and has_moved_on(request, str(desk.facts.open_now)):
        messages.error(request, "The gaps changed since this list was shown. Nothing was saved; read it again.")
        return redirect("audit-quality", desk.starting_year)
    if request.method == "POST" and form.is_valid():
        values = {
            "quality_read_by": request.user, "quality_read_at": desk.now, "quality_open": desk.facts.open_now,
        }  # fmt: skip
        try:
            cycle.change_year(by=request.user, year=row, version=form.version, values=values, reason="Gaps read")
        except (Conflict, SignedYear):
            return _conflict(request, desk.starting_year, form, "audit/step_quality.html", "quality")
        open_now = desk.facts.open_now
        if open_now:
            some = f"{open_now} gap{'' if open_now == 1 else 's'}"
            messages.success(request, f"Read. {some} stay in the denominator until the records are corrected.")
        return redirect("audit-year-results", desk.starting_year)
    query = {**desk.question().query, "audit": str(desk.starting_year)}
    return page(
        request, "audit/step_quality.html", desk, "quality", form=form, rows=desk.common["quality"], query=query
    )


@require_methods("GET", "POST")
@allowed(Right.SET_AUDIT)
@step_page("results")
def year_results(request: HttpRequest, desk: Desk) -> HttpResponse:
    """The outcome at 12 months, and what it means in the lead's own words."""
    row = desk.year
    stored = {"interpretation": row.interpretation, "limitations": row.limitations}
    form = MeaningForm(request.POST if request.method == "POST" else None, initial=stored, version=row.version)
    if request.method == "POST" and form.is_valid():
        values = {name: form.cleaned_data[name] for name in stored}
        try:
            cycle.change_year(by=request.user, year=row, version=form.version, values=values, reason="Meaning written")
        except (Conflict, SignedYear):
            return _conflict(request, desk.starting_year, form, "audit/step_results.html", "results", **_shown(desk))
        messages.success(request, "Kept. It stands in the report as you wrote it.")
        return redirect("audit-standard", desk.starting_year)
    outcome = request.GET.get("outcome", "")
    return page(
        request, "audit/step_results.html", desk, "results", form=form, outcomes=list(Outcome),
        status=400 if form.is_bound else 200, **_shown(desk, outcome),
    )  # fmt: skip


def _shown(desk: Desk, outcome: str = "") -> dict[str, object]:
    chosen = outcome if outcome in Outcome.codes() else Outcome.SYMPTOMATIC_RECURRENCE.value
    return outcome_page(Answer(desk.question(chosen), desk.figures(chosen)))


@require_methods("GET")
@allowed(Right.SET_AUDIT)
@step_page("results")
def year_course(request: HttpRequest, desk: Desk) -> HttpResponse:
    question = desk.question()
    return page(
        request,
        "audit/step_course.html",
        desk,
        "results",
        question=question,
        **course_page(question, desk.common or {}),
    )


def _conflict(
    request: HttpRequest, year: int, form: object, template: str, current: str, **more: object
) -> HttpResponse:
    """Somebody else wrote this year meanwhile: theirs beside what was typed, nothing lost."""
    desk = desk_of(request, year)
    row = desk.year
    stored = {
        "as_of": row.as_of.isoformat(), "aim": row.aim, "context": row.context, "interpretation": row.interpretation,
        "limitations": row.limitations,
    }  # fmt: skip
    form.catch_up(row.version)
    more.setdefault("rows", desk.common["quality"] if desk.common else [])
    more.setdefault("query", {**desk.question().query, "audit": str(year)})
    return page(
        request, template, desk, current, form=form, status=409, differences=differences(form, stored),
        last_change=row.history.select_related("history_user").first(), outcomes=list(Outcome), **more,
    )  # fmt: skip
