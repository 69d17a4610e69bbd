"""The first page of the exchange: what can leave, what has left, the groups."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from audit.peers.groups import places_of
from audit.peers.models import Export
from audit.signed import signed_audits
from clinic.access.decorators import allowed, require_methods
from clinic.access.rules import Action, may


@require_methods("GET")
@allowed(Action.READ_POOLED)
def exchange(request: HttpRequest) -> HttpResponse:
    member = request.user
    exports_here = may(member.role, Action.EXPORT_DATA)
    context = {
        "may_export": exports_here,
        "may_join": may(member.role, Action.HAND_IN),
        "may_run": may(member.role, Action.RUN_GROUP),
        "places": places_of(member),
    }
    if exports_here:
        made = Export.objects.filter(practice=member.practice).defer("file", "contents", "tables")
        context["audits"] = signed_audits(member.practice)
        context["exports"] = list(made.select_related("made_by").order_by("-made_at"))
    return render(request, "exchange/home.html", context)
