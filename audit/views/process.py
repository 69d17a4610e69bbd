"""The criteria of process: how the operations of a period were done and recorded, each with its records."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from audit.process_cohort import process_toes
from audit.views.answers import asked
from clinic.access.decorators import allowed, require_methods
from clinic.access.rules import Action

PARTS = {"met": "met", "missed": "not met", "apart": "counted apart"}


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def process_page(request: HttpRequest) -> HttpResponse:
    from audit.measures.process import process

    form = asked(request)
    if form.errors:
        return render(request, "audit/process.html", {"form": form}, status=400)
    question = form.question
    period = question.period
    toes = process_toes(
        request.user.practice, performed_from=period.performed_from, performed_to=period.performed_to,
        as_of=question.as_of,
    )  # fmt: skip
    rows = process(toes)
    days = dict(zip(toes["toe_key"], toes["performed_on"].dt.date, strict=True))
    context = {"form": form, "question": question, "rows": rows, "toes": len(toes), "query": question.query}
    return render(request, "audit/process.html", context | behind(request, rows, days))


def behind(request: HttpRequest, rows: tuple, days: dict) -> dict[str, object]:
    """The records behind one number, if the address names it; 404 for a number that is not on the page."""
    code, part = request.GET.get("criterion"), request.GET.get("part")
    if not code and not part:
        return {}
    found = next((row for row in rows if row.criterion.code == code), None)
    if found is None or part not in PARTS:
        raise Http404
    keys = {"met": found.met_keys, "missed": found.missed, "apart": found.apart}[part]
    return {"behind": found, "part": PARTS[part], "records": [(key, days[key]) for key in keys]}
