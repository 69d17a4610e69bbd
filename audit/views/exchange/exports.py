"""Make an export from a signed audit: what, protection, preview, file; take it, withdraw it."""

from functools import lru_cache
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from audit.exchange.columns import LEFT_OUT, NAMES
from audit.exchange.csv_text import to_csv
from audit.exchange.preparing import NotExportable, Prepared, prepare
from audit.exchange.showing import one_row, rarest
from audit.exchange.tables import HEADER, group_label
from audit.peer_forms import ExportForm, WithdrawForm
from audit.peers.exporting import Recipient, made_before, made_ready, other_rules, refused, take, withdraw_export
from audit.peers.models import Export, Membership, Taking
from audit.signed import Signed, as_one, before, export_signed, signed_audits
from audit.views.exchange.shared import MOVED_ON, download
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.once import claim, first_or_result
from clinic.access.requests import client_address
from clinic.access.rules import Action


@require_methods("GET", "POST")
@allowed(Action.EXPORT_DATA)
def export_new(request: HttpRequest, key: str) -> HttpResponse:
    """One page in steps: first what and how, then the preview, then the file."""
    every = signed_audits(request.user.practice)
    found = next((each for each in every if each.key == key), None)
    if found is None:
        raise Http404("signed audit")
    earlier = before(found, every)
    making = request.POST.get("do") == "make"
    form = ExportForm(
        request.POST if request.method == "POST" else None, memberships=own_memberships(request),
        has_before=earlier is not None, member=request.user, address=client_address(request), now=timezone.now(),
        ask=making,
    )  # fmt: skip
    shown: dict[str, Any] = {"audit": found, "form": form, "left_out": LEFT_OUT}
    if request.method == "GET" or request.POST.get("do") == "back":
        form = ExportForm(
            None, initial=request.POST.dict() if request.method == "POST" else None,
            memberships=own_memberships(request), has_before=earlier is not None, member=request.user,
            address=client_address(request), now=timezone.now(), ask=False,
        )  # fmt: skip
        return render(request, "exchange/export_form.html", {**shown, "form": form})
    if again := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(again)
    valid = form.is_valid()
    if not valid and set(form.errors) != {"password"}:
        return render(request, "exchange/export_form.html", shown)
    try:
        prepared = prepared_for(found, earlier if form.cleaned_data.get("with_before") else None, form)
        if making and valid:
            return made(request, form, prepared)
        shown |= preview(request, form, prepared)
    except NotExportable as reason:
        return render(request, "exchange/export_form.html", {**shown, "refused": str(reason)})
    return render(request, "exchange/export_preview.html", shown)


def own_memberships(request: HttpRequest) -> list[Membership]:
    rows = Membership.objects.filter(
        practice=request.user.practice, left_at__isnull=True, group__closed_at__isnull=True
    )
    return list(rows.select_related("group"))


def prepared_for(found: Signed, earlier: Signed | None, form: ExportForm) -> Prepared:
    answers = form.cleaned_data
    return _prepared(_Signatures(found, earlier), int(answers["k"]), bool(answers["harmless_declared"]))


class _Signatures:
    """Signatures that compare by number and checksum, so that the cache below need not hold their frames."""

    def __init__(self, found: Signed, earlier: Signed | None) -> None:
        self.found, self.earlier = found, earlier
        self.known_by = tuple((each.signature.pk, each.checksum) for each in (found, earlier) if each)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Signatures) and self.known_by == other.known_by

    def __hash__(self) -> int:
        return hash(self.known_by)


# A preview is looked at several times before the file is made; the frames of a signature never change.
@lru_cache(maxsize=4)
def _prepared(signatures: _Signatures, k: int, harmless: bool) -> Prepared:
    return prepare(as_one(signatures.found, signatures.earlier), k=k, harmless_declared=harmless)


def preview(request: HttpRequest, form: ExportForm, prepared: Prepared) -> dict[str, Any]:
    """Everything that leaves, before it does."""
    from random import Random

    from audit.exchange.release import release
    from audit.exchange.round_trip import round_trip
    from audit.report import yearly

    answers = form.cleaned_data
    practice = request.user.practice
    figures = yearly.build(prepared.audit.cohort, unit="side", outcome="symptomatic_recurrence", standard=None)
    # Codes of a preview are thrown away; nothing is counted by them.
    rows = release(prepared.protected, Random(0))  # noqa: S311
    place = chosen_row(prepared, form)
    again = made_before(practice, prepared, answers["group_code"])
    asked = ExportForm(
        None, initial=request.POST.dict(), memberships=list(form.memberships.values()),
        has_before="with_before" in form.fields, member=request.user, address="", now=timezone.now(),
    )  # fmt: skip
    return {
        "prepared": prepared,
        "protected": prepared.protected,
        "columns": len(NAMES),
        "trip": round_trip(figures, prepared.protected, rows),
        "row": one_row(prepared, place),
        "row_stays": bool(prepared.protected.kept[place]),
        "place": place,
        "next_place": (place + 1) % len(prepared.raw),
        "rarest": [(each, int(prepared.protected.alike[each])) for each in rarest(prepared)],
        "again": again,
        "refused": other_rules(again, prepared) if again else refused(practice, prepared),
        "answers": answers,
        "making": asked,
        "form": form,
        "kept": [(name, value) for name, value in request.POST.items() if name in form.fields and name != "password"],
    }


def chosen_row(prepared: Prepared, form: ExportForm) -> int:
    text = form.cleaned_data.get("row") or ""
    if text.isascii() and text.isdecimal() and int(text) < len(prepared.raw):
        return int(text)
    return 0


def made(request: HttpRequest, form: ExportForm, prepared: Prepared) -> HttpResponse:
    answers = form.cleaned_data
    recipient = Recipient(answers["group_code"], answers["practice_code"], answers["recipient"], answers["purpose"])
    ready = made_ready(request.user.practice, prepared, recipient)
    with transaction.atomic():
        export = export_signed(
            by=request.user, prepared=prepared, recipient=recipient, now=timezone.now(), ready=ready
        )  # fmt: skip
        if again := claim(request.user, form.once, reverse("export", args=[export.key])):
            return redirect(again)
    messages.success(request, f"File made: {export.rows} rows, checksum {export.sha256[:8]}.")
    return redirect("export", export.key)


def own_export(request: HttpRequest, key: str) -> Export:
    rows = Export.objects.filter(practice=request.user.practice).select_related("made_by", "withdrawn_by", "replaces")
    return get_object_or_404(rows.defer("contents"), key=key)


@require_methods("GET")
@allowed(Action.EXPORT_DATA)
def export(request: HttpRequest, key: str) -> HttpResponse:
    row = own_export(request, key)
    shown = {
        "export": row,
        "size": len(row.file),
        "takings": list(row.takings.select_related("member")),
        "tables": [(table, tables_of(table)) for table in row.tables],
        "header": HEADER,
        "form": WithdrawForm(version=row.version),
    }
    return render(request, "exchange/export.html", shown)


@require_methods("POST")
@allowed(Action.EXPORT_DATA)
def export_file(request: HttpRequest, key: str) -> HttpResponse:
    """The bytes that were made, always the same; each time it is taken is noted first."""
    row = own_export(request, key)
    take(practice=row.practice, by=request.user, what=Taking.What.EXPORT, now=timezone.now(), export=row,
         about=f"{row.group_code} {row.practice_code}", sha256=row.sha256)  # fmt: skip
    return download(bytes(row.file), "peer-set.zip", "application/zip")


@require_methods("POST")
@allowed(Action.EXPORT_DATA)
def export_tables(request: HttpRequest, key: str) -> HttpResponse:
    """The tables that may be published, as they were protected when the file was made."""
    row = own_export(request, key)
    lines = [line for table in row.tables for line in tables_of(table)]
    take(practice=row.practice, by=request.user, what=Taking.What.TABLES, now=timezone.now(), export=row)
    return download(to_csv(HEADER, lines), "tables-to-publish.csv", "text/csv; charset=utf-8")


def tables_of(table: dict[str, Any]) -> list[tuple[str, ...]]:
    """A kept table as text: what is hidden says so."""
    found = []
    for code, values, hidden in zip(table["lines"], table["values"], table["hidden"], strict=True):
        numbers = ("left out" if away else str(value) for value, away in zip(values, hidden, strict=True))
        found.append((table["outcome"], code, "All" if code == "all" else group_label(code), *numbers))
    return found


@require_methods("POST")
@allowed(Action.EXPORT_DATA)
def export_withdraw(request: HttpRequest, key: str) -> HttpResponse:
    row = own_export(request, key)
    form = WithdrawForm(request.POST, version=row.version)
    if not form.is_valid():
        messages.error(request, "Give the reason for withdrawing this file.")
    elif not row.withdrawn_at:
        try:
            withdraw_export(by=request.user, export=row, version=form.version, reason=form.cleaned_data["reason"],
                            now=timezone.now())  # fmt: skip
            messages.success(request, "Withdrawn. Tell the group, so that its copy goes as well.")
        except Conflict:
            messages.error(request, MOVED_ON)
    return redirect("export", row.key)
