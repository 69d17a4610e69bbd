"""How the numbers were checked: every method beside values from outside, computed by this installation."""

from itertools import groupby

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from clinic.access.decorators import allowed, require_methods
from clinic.access.rules import Action


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def checked(request: HttpRequest) -> HttpResponse:
    from audit.referees.checks import FAMILIES, all_checks

    found = all_checks()
    families = [(FAMILIES[family], list(group)) for family, group in groupby(found, key=lambda each: each.family)]
    values = [line for each in found for line in each.lines]
    context = {
        "families": families,
        "checks": len(found),
        "values": len(values),
        "outside": [each for each in found if not each.agrees],
    }
    return render(request, "audit/checked.html", context)
