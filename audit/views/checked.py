"""How the numbers were checked: every method beside values from outside, computed by this installation."""

from itertools import groupby

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from clinic.access.decorators import allowed, require_methods
from clinic.access.rules import Action


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def checked(request: HttpRequest) -> HttpResponse:
    """Every method on one line, with the value that lies nearest to its tolerance."""
    from audit.referees.checks import FAMILIES, all_checks

    found = all_checks()
    families = [(code, FAMILIES[code], list(group)) for code, group in groupby(found, key=lambda each: each.family)]
    context = {
        "families": families,
        "checks": len(found),
        "values": sum(len(each.lines) for each in found),
        "outside": [each for each in found if not each.agrees],
    }
    return render(request, "audit/checked.html", context)


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def checked_family(request: HttpRequest, family: str) -> HttpResponse:
    """Every value of one family of methods."""
    from audit.referees.checks import FAMILIES, all_checks

    if family not in FAMILIES:
        raise Http404
    found = [each for each in all_checks() if each.family == family]
    return render(request, "audit/checked_family.html", {"name": FAMILIES[family], "found": found})
