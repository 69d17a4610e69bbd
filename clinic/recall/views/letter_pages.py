"""Letters: choose and read them, then as a page to print or as a PDF; making them logs each as a try."""

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.core.exceptions import BadRequest
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access.decorators import allowed, require_methods
from clinic.access.once import claim, new_token
from clinic.access.rules import Action, may
from clinic.planning.models import follow_up_of
from clinic.procedures.models import Operation
from clinic.recall.letters import MOST_AT_ONCE, LeftOut, Letter, letters_for, made_letters
from clinic.recall.queries import Followed, named_rows
from clinic.reports import wording
from clinic.theatre.paper import pdf_of


@require_methods("GET", "POST")
@allowed(Action.BOOK_REVIEW)
def letters(request: HttpRequest) -> HttpResponse:
    """GET reads the letters to those picked, without a link; POST makes them, once, and answers with the document."""
    keys = (request.POST if request.method == "POST" else request.GET).getlist("pick")
    if len(keys) > MOST_AT_ONCE:
        messages.error(request, f"At most {MOST_AT_ONCE} letters at once; tick fewer.")
        return redirect("recall")
    rows = picked(request, keys)
    found, left_out = letters_for(rows, {row.operation.pk: toes_of(row) for row in rows})
    if request.method == "POST" and found and follow_up_of(request.user.practice).phone:
        return made(request, found, left_out)
    shown = {
        **about(request), "may_set": may(request.user.role, Action.SET_AUDIT),
        "letters": [(letter, None) for letter in found], "left_out": left_out, "once": new_token(),
        "preview": True,
    }  # fmt: skip
    return render(request, "recall/letters.html", shown)


def picked(request: HttpRequest, keys: Sequence[str]) -> list[Followed]:
    """The rows of those keys in the member's practice; others do not exist."""
    own = Operation.objects.visible_to(request.user).standing().filter(key__in=keys)
    now = timezone.localtime()
    return named_rows(own, request.user.practice, today=now.date(), now=now)


def toes_of(row: Followed) -> str:
    """'right big toe and left big toe'."""
    return " and ".join(wording.toe_in_words(nail.foot, nail.toe) for nail in row.nails)


def about(request: HttpRequest) -> dict[str, Any]:
    practice = request.user.practice
    return {
        "practice": practice, "follow_up": follow_up_of(practice), "text": wording,
        "today": wording.long_day(timezone.localdate()),
    }  # fmt: skip


def made(request: HttpRequest, found: list[Letter], left_out: list[LeftOut]) -> HttpResponse:
    """The links of the letters are shown in this one answer and kept nowhere.

    left_out: who was in the preview, and gets no letter any more. A PDF has no room to say so; the next page does.
    """
    as_pdf = request.POST.get("do") == "pdf"
    if request.POST.get("do") not in {"pdf", "page"}:
        raise BadRequest("No such kind of letter.")
    if as_pdf and not has_paper():
        messages.error(request, "This server cannot make PDFs: Pango is missing. Print the page instead.")
        return redirect(f"{reverse('letters')}?{'&'.join(f'pick={letter.key}' for letter in found)}")
    with transaction.atomic():
        if claim(request.user, request.POST.get("once", ""), reverse("recall")):
            messages.error(
                request, "These letters were made before, and are in the log. Make new ones if they got lost."
            )
            return redirect("recall")
        pages = made_letters(
            by=request.user, letters=found, now=timezone.localtime(), days=follow_up_of(request.user.practice).link_days
        )
        shown = {**about(request), "letters": pages, "left_out": left_out}
        if as_pdf:
            for each in left_out:
                messages.warning(request, f"No letter was made to {each.name}: {each.why}")
            data = pdf_of(request, "recall/letters_paper.html", shown)
            headers = {"Content-Disposition": 'inline; filename="letters.pdf"'}
            return HttpResponse(data, content_type="application/pdf", headers=headers)
        return render(request, "recall/letters.html", shown)


def has_paper() -> bool:
    """Asked before anything is logged."""
    try:
        import weasyprint  # noqa: F401
    except OSError:
        return False
    return True
