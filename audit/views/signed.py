"""Step 6 of the yearly audit: preview, signature, the report as page and PDF, the snapshot, what changed since."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from audit import signing
from audit.cycle import SignedYear
from audit.models import SignedAudit
from audit.views.behind import place_of
from audit.views.desk import Desk, desk_of, page, step_page
from audit.workspace_forms import ReopenForm, SignForm
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.requests import client_address
from clinic.access.rules import Action as Right
from clinic.access.throttle import claim_try, note_failure, note_success

WRONG = "This is not your password; nothing was signed"
WAIT = "Too many wrong passwords. Wait a little, then sign again; nothing was signed"


@require_methods("GET", "POST")
@allowed(Right.SET_AUDIT)
@step_page("sign-off")
def sign(request: HttpRequest, desk: Desk) -> HttpResponse:
    form = SignForm(request.POST if request.method == "POST" else None, version=desk.year.version)
    if request.method == "POST" and desk.signature:
        return _signed_already(request, desk)
    if not form.is_valid() or not _password_fits(request, form):
        return _page(request, desk, form, status=400 if form.is_bound else 200)
    try:
        signing.sign_year(by=request.user, year=desk.year, version=form.version, now=desk.now)
    except Conflict:
        fresh = desk_of(request, desk.starting_year)
        if fresh.signature:
            return _signed_already(request, fresh)
        form.catch_up(fresh.year.version)
        form.add_error(None, "Somebody else changed this audit meanwhile. Nothing was signed; read the report again.")
        return _page(request, fresh, form, status=409)
    except signing.RecordsMoved:
        form.add_error(None, "A record was changed while the figures were counted. Nothing was signed; sign again.")
        return _page(request, desk, form, status=409)
    messages.success(request, "Report signed and stored.")
    return redirect("audit-sign", desk.starting_year)


def _password_fits(request: HttpRequest, form: SignForm) -> bool:
    """Slowed down like signing in: somebody at an unlocked screen could try passwords here, too."""
    now, member, address = timezone.now(), request.user, client_address(request)
    if not claim_try(username=member.username, address=address, now=now):
        form.add_error("password", WAIT)
        return False
    if not member.check_password(form.cleaned_data["password"]):
        note_failure(address=address, now=now)
        form.add_error("password", WRONG)
        return False
    note_success(username=member.username, address=address, now=now)
    return True


def _signed_already(request: HttpRequest, desk: Desk) -> HttpResponse:
    signed = desk.signature
    at = timezone.localtime(signed.signed_at)
    messages.error(
        request, f"{signed.signed_by} signed this audit on {at.day} {at:%b %Y} at {at:%H:%M}. Nothing was signed twice."
    )
    return redirect("audit-sign", desk.starting_year)


def _page(request: HttpRequest, desk: Desk, form: SignForm, *, status: int = 200) -> HttpResponse:
    earlier = SignedAudit.objects.filter(audit_year=desk.year, reopened_at__isnull=False)
    context = {
        "form": form,
        "reopen_form": ReopenForm(version=desk.year.version),
        "earlier": earlier.select_related("signed_by", "reopened_by", "snapshot").defer(
            "html", "pdf", "snapshot__packed"
        ),
    }
    return page(request, "audit/step_sign.html", desk, "sign-off", status=status, **context)


@require_methods("POST")
@allowed(Right.SET_AUDIT)
@step_page("sign-off")
def reopen(request: HttpRequest, desk: Desk) -> HttpResponse:
    """The signature stays; the year may be changed and gets a new one."""
    form = ReopenForm(request.POST, version=desk.year.version)
    if not desk.signature:
        raise Http404
    if not form.is_valid():
        messages.error(request, "Give the reason for opening it again.")
        return redirect("audit-sign", desk.starting_year)
    try:
        signing.reopen(
            by=request.user,
            signed=desk.signature,
            version=form.version,
            reason=form.cleaned_data["reason"],
            now=desk.now,
        )
    except (Conflict, SignedYear):
        messages.error(request, "Somebody else changed this audit meanwhile. Nothing was opened; look at it again.")
    else:
        messages.success(request, "Opened again. The signed report stays as it is; a new signature gets a new number.")
    return redirect("audit-sign", desk.starting_year)


def signed_of(desk: Desk, request: HttpRequest) -> SignedAudit | None:
    """The signature that the address asks for by number, else the one in force; 404 for a number that is not there."""
    number = request.GET.get("number", "")
    stored = SignedAudit.objects.filter(audit_year=desk.year).select_related(
        "snapshot", "signed_by", "audit_year__practice"
    )
    if number:
        found = (
            stored.filter(number=int(number)).first()
            if number.isascii() and number.isdigit() and len(number) < 5
            else None
        )
        if found is None:
            raise Http404
        return found
    return stored.filter(reopened_at__isnull=True).first()


@require_methods("GET")
@allowed(Right.READ_AUDIT)
def report(request: HttpRequest, year: int) -> HttpResponse:
    """The signed report; before the signature a draft from the figures as they stand."""
    desk = desk_of(request, year)
    if desk.year is None:
        raise Http404
    signed = signed_of(desk, request)
    html = signed.html if signed else draft(desk)
    return page(request, "audit/report.html", desk, "sign-off", signed=signed, html=signing.as_rendered(html))


def draft(desk: Desk) -> str:
    words = signing.words_of(desk.year)
    return signing.report_html(desk.annual(), words, before=signing.figures_before(desk.year), stamp=None)


@require_methods("GET")
@allowed(Right.READ_AUDIT)
def report_pdf(request: HttpRequest, year: int) -> HttpResponse:
    """The stored bytes of a signed report; a draft is made anew."""
    desk = desk_of(request, year)
    if desk.year is None:
        raise Http404
    signed = signed_of(desk, request)
    body = bytes(signed.pdf) if signed and signed.pdf else None
    if signed is None:
        body = signing.report_pdf(draft(desk), signing.words_of(desk.year), None)
    if body is None:
        messages.error(request, "This server cannot make a PDF. Print the page instead.")
        return redirect("audit-report", year)
    name = f"audit-{year}{'' if signed else '-draft'}.pdf"
    return HttpResponse(
        body, content_type="application/pdf", headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


@require_methods("GET")
@allowed(Right.SET_AUDIT)
def snapshot(request: HttpRequest, year: int) -> HttpResponse:
    """The bytes that were signed: data without names, definitions, program and figures."""
    desk = desk_of(request, year)
    signed = signed_of(desk, request) if desk.year else None
    if signed is None:
        raise Http404
    name = f"audit-{year}-{signed.snapshot.checksum[:8]}.json"
    return HttpResponse(
        signed.snapshot.body, content_type="application/json",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )  # fmt: skip


@require_methods("GET")
@allowed(Right.READ_AUDIT)
def changes(request: HttpRequest, year: int) -> HttpResponse:
    """What was changed in the records since the signature; the report stays as it was."""
    from audit.report.annual import recounted
    from audit.report.frozen_rows import checksum

    desk = desk_of(request, year)
    signed = signed_of(desk, request) if desk.year else None
    if signed is None:
        raise Http404
    since = signing.changed_since(signed, desk.annual)
    body = signed.snapshot.body
    context = {
        "signed": signed,
        "since": since,
        "rows": [(row, place_of(row, since.years)) for row in since.rows],
        "intact": checksum(body) == signed.snapshot.checksum,
        "recounted": recounted(body) if request.GET.get("recount") == "1" else None,
    }
    return page(request, "audit/changes.html", desk, "sign-off", **context)
