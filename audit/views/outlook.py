"""Completeness as a live number: who will be lost if nothing happens, and what seeing them would be worth."""

from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from audit import cohort, log_cohort
from audit.measures.definitions import Outcome
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Practice
from clinic.access.rules import Action
from clinic.schedule import TWELVE_MONTHS
from clinic.vocabulary.recall import Stop


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def outlook_page(request: HttpRequest) -> HttpResponse:
    practice, today = request.user.practice, timezone.localdate()
    found = outlook_of(practice, today)
    stops = log_cohort.stops(
        practice, performed_from=today - timedelta(days=TWELVE_MONTHS.closes_day),
        performed_to=today - timedelta(days=TWELVE_MONTHS.opens_day),
    )  # fmt: skip
    missing = [(side, stops.get(side.toe_key)) for side in found.missing]
    shown = {
        "found": found, "outcome": Outcome.SYMPTOMATIC_RECURRENCE, "missing": missing,
        "not_tried": sum(stop is not None for _, stop in missing),
        "died": sum(stop == Stop.DIED for _, stop in missing),
    }  # fmt: skip
    return render(request, "audit/outlook.html", shown)


def outlook_of(practice: Practice, today: date):
    """Counted afresh from the records, as of the day when the last window that is open today has closed."""
    from audit.measures import outlook

    frames = cohort.build(
        practice, performed_from=outlook.first_day(today), performed_to=outlook.last_day(today),
        as_of=outlook.horizon(today),
    )  # fmt: skip
    return outlook.outlook(frames, Outcome.SYMPTOMATIC_RECURRENCE, today)
