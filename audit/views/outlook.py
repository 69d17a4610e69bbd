"""Completeness as a live number: who will be lost if nothing happens, and what seeing them would be worth."""

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from audit import cohort
from audit.measures.definitions import Outcome
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Practice
from clinic.access.rules import Action


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def outlook_page(request: HttpRequest) -> HttpResponse:
    found = outlook_of(request.user.practice, timezone.localdate())
    return render(request, "audit/outlook.html", {"found": found, "outcome": Outcome.SYMPTOMATIC_RECURRENCE})


def outlook_of(practice: Practice, today: date):
    """Counted afresh from the records, as of the day when the last window that is open today has closed."""
    from audit.measures import outlook

    frames = cohort.build(
        practice, performed_from=outlook.first_day(today), performed_to=outlook.last_day(today),
        as_of=outlook.horizon(today),
    )  # fmt: skip
    return outlook.outlook(frames, Outcome.SYMPTOMATIC_RECURRENCE, today)
