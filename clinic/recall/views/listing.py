"""The recall list, its file, closing as lost and opening again, taking back a logged try."""

from contextlib import suppress
from datetime import date
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Conflict
from clinic.access.numbers import say_day
from clinic.access.once import claim, first_or_result
from clinic.access.rules import Action, may
from clinic.access.spreadsheets import csv_bytes
from clinic.planning.models import follow_up_of
from clinic.recall.files import HEAD, lines
from clinic.recall.forms import CloseForm
from clinic.recall.lists import BY_CODE, LISTS, is_lost_by_death, next_words, sorted_into, words_of
from clinic.recall.models import Closure
from clinic.recall.queries import Followed, followed, name_rows, standing_of
from clinic.recall.recording import TooLate, close_as_lost, reopen, undo_contact
from clinic.reviews.models import Contact

ROWS_A_PAGE = 50
FIRST_LIST = LISTS[0].code


@require_methods("GET")
@allowed(Action.BOOK_REVIEW)
def recall(request: HttpRequest) -> HttpResponse:
    """One list at a time, fifty rows a page; `all` shows every row, for paper."""
    now = timezone.localtime()
    today = now.date()
    code = request.GET.get("show", FIRST_LIST)
    if code not in BY_CODE:
        raise Http404
    everybody = followed(request.user.practice, today=today, now=now)
    lists = sorted_into(everybody, today)
    rows, pages = part_of(lists[code], request.GET.get("page", "1"), whole="all" in request.GET)
    name_rows(rows)
    shown = {
        "filters": [(each.code, each.label, len(lists[each.code])) for each in LISTS],
        "list": BY_CODE[code],
        "total": len(lists[code]),
        "died": sum(is_lost_by_death(row, today) for row in everybody) if code == "outcome" else 0,
        "rows": [shown_row(row, today) for row in rows],
        "pages": pages,
        "today": today,
        "calls": follow_up_of(request.user.practice).tries,
        "may_review": may(request.user.role, Action.RECORD_REVIEW),
        "may_audit": may(request.user.role, Action.READ_AUDIT),
    }
    return render(request, "recall/recall.html", shown)


def part_of(rows: list[Followed], wanted: str, *, whole: bool) -> tuple[list[Followed], dict[str, Any]]:
    """The rows of one page; a page that there is not is the last one there is."""
    last = max(1, -(-len(rows) // ROWS_A_PAGE))
    if whole:
        return rows, {"number": 1, "last": 1, "whole": last > 1}
    number = int(wanted) if wanted.isascii() and wanted.isdigit() and len(wanted) < 6 else 1
    number = min(max(number, 1), last)
    return rows[(number - 1) * ROWS_A_PAGE : number * ROWS_A_PAGE], {"number": number, "last": last, "whole": False}


def shown_row(row: Followed, today: date) -> dict[str, Any]:
    """What the page prints of one row beside its own fields."""
    late = row.state == "overdue" or row.point is None
    return {
        "row": row,
        "words": words_of(row, today),
        "next": next_words(row, today),
        "kind": "late" if late else "due",
        "last": row.tries[-1] if row.tries else None,
    }


@require_methods("GET")
@allowed(Action.BOOK_REVIEW)
def recall_csv(request: HttpRequest) -> HttpResponse:
    """The rows of one list for a spreadsheet of the practice. It holds names: it is for nobody outside."""
    now = timezone.localtime()
    code = request.GET.get("show", FIRST_LIST)
    if code not in BY_CODE:
        raise Http404
    rows = sorted_into(followed(request.user.practice, today=now.date(), now=now), now.date())[code]
    name_rows(rows)
    data = csv_bytes(HEAD, lines(rows, now.date()))
    headers = {"Content-Disposition": f'attachment; filename="recall-{code}-{now:%Y-%m-%d}.csv"'}
    return HttpResponse(data, content_type="text/csv; charset=utf-8", headers=headers)


# --- closing


@require_methods("GET", "POST")
@allowed(Action.BOOK_REVIEW)
def close(request: HttpRequest, key: str) -> HttpResponse:
    now = timezone.localtime()
    row = standing_of(request.user, key, today=now.date(), now=now)
    if row is None:
        raise Http404
    form = CloseForm(request.POST if request.method == "POST" else None, row=row)
    valid = form.is_valid()
    if earlier := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(earlier)
    goes_to = reverse("recall")
    if valid:
        try:
            with transaction.atomic():
                if earlier := claim(request.user, form.once, goes_to):
                    return redirect(earlier)
                close_as_lost(
                    by=request.user, operation=row.operation, reason=form.cleaned_data["reason"],
                    note=form.cleaned_data["note"], on=now.date(), now=now,
                )  # fmt: skip
        except Conflict:
            messages.error(request, "Somebody has closed this a moment ago; it is on record once.")
        else:
            messages.success(request, "Closed, with the reason. What is seen later still counts.")
        return redirect(goes_to)
    closure = row.operation.closures.standing().select_related("closed_by").first()
    shown = {"form": form, "row": row, "operation": row.operation, "identity": row.identity, "closure": closure}
    return render(request, "recall/close.html", shown)


@require_methods("POST")
@allowed(Action.BOOK_REVIEW)
def open_again(request: HttpRequest, key: str) -> HttpResponse:
    own = Closure.objects.filter(operation__practice_id=request.user.practice_id)
    closure = get_object_or_404(own.select_related("operation"), key=key)
    if closure.reopened_on is None:
        with suppress(Conflict):  # somebody did so at the same moment
            reopen(by=request.user, closure=closure, on=timezone.localdate())
        messages.success(request, "Open again. It stands on the list while a review is due.")
    return redirect("close", closure.operation.key)


@require_methods("POST")
@allowed(Action.BOOK_REVIEW)
def contact_undo(request: HttpRequest, key: str) -> HttpResponse:
    """Take back a try just logged; its line stays in the history, struck out."""
    own = Contact.objects.filter(operation__practice_id=request.user.practice_id)
    contact = get_object_or_404(own.select_related("operation"), key=key)
    try:
        undo_contact(by=request.user, contact=contact, now=timezone.now())
    except (TooLate, Conflict):
        messages.error(request, "This cannot be undone any more. Log what is true as another contact.")
    else:
        messages.success(request, f"The contact of {say_day(contact.made_on)} is taken back.")
    return redirect("contact", contact.operation.key)
