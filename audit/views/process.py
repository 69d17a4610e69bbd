"""The criteria of process: how the operations of a period were done and recorded, each with its misses."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from audit.process_cohort import process_toes
from audit.views.answers import asked
from clinic.access.decorators import allowed, require_methods
from clinic.access.rules import Action


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
    days = dict(zip(toes["toe_key"], toes["performed_on"].dt.date, strict=True))
    rows = [(found, [(key, days[key]) for key in found.missed]) for found in process(toes)]
    context = {"form": form, "question": question, "rows": rows, "toes": len(toes), "query": question.query}
    return render(request, "audit/process.html", context)
