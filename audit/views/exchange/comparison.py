"""The pooled comparison of a group: page, charts, files, and the report on paper. Practices stand under their codes."""

import io
import zipfile
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db.models import Count, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.utils import timezone

from audit.exchange.words import period_words
from audit.measures.definitions import OUTCOMES, UNITS, Outcome, Unit
from audit.peers.exporting import take
from audit.peers.groups import Place
from audit.peers.intake import sets_in_pool
from audit.peers.models import PeerSet, Refusal, SetState, Taking
from audit.signing import STYLE, drawn
from audit.views.exchange.shared import download, own_place
from audit.views.results import PICTURES, THEMES, WIDTHS, one_of
from clinic.access.decorators import allowed, require_methods
from clinic.access.rules import Action
from clinic.paper import NoPaper, pdf_of_html

# Files that leave the page; the pictures on it are looked at, not taken.
TAKEN = {"csv", "png"}

if TYPE_CHECKING:
    from audit.charts.telling import AnyChart
    from audit.exchange.before import Check
    from audit.exchange.case_mix import CaseMix
    from audit.exchange.pooled import Comparison, Line, Member


@dataclass(frozen=True)
class Compared:
    """One question answered for a group."""

    members: "tuple[Member, ...]"
    found: "Comparison"
    technique: "tuple[Line, ...]"
    exposure: "tuple[Line, ...]"
    side: "tuple[Line, ...]"
    mix: "CaseMix"
    cut: str


@require_methods("GET")
@allowed(Action.READ_POOLED)
def compare(request: HttpRequest, key: str) -> HttpResponse:
    place = own_place(request, key)
    outcome, unit = question(request, place)
    answer = answered(place, outcome, unit)
    return render(request, "exchange/compare.html", page(place, answer))


def question(request: HttpRequest, place: Place) -> tuple[Outcome, Unit]:
    """What the address asks; what it leaves out is what the group agreed on."""
    outcome = request.GET.get("outcome", place.group.outcome)
    unit = request.GET.get("unit", place.group.unit)
    if outcome not in Outcome.codes() or unit not in Unit.codes():
        raise Http404
    return Outcome(outcome), Unit(unit)


def answered(place: Place, outcome: Outcome, unit: Unit) -> Compared:
    sets = sets_in_pool(place.group)
    return _compared(tuple((row.pk, row.version, row.content) for row in sets), outcome, unit)


# The same sets have the same answer, and a page asks for its pictures one by one.
@lru_cache(maxsize=16)
def _compared(sets: tuple[tuple[int, int, str], ...], outcome: Outcome, unit: Unit) -> Compared:
    from audit.exchange import groups
    from audit.exchange.case_mix import case_mix
    from audit.exchange.manifest import cut_words
    from audit.exchange.pooled import compare as pooled
    from audit.exchange.pooled import group_lines

    rows = PeerSet.objects.filter(pk__in=[pk for pk, _, _ in sets]).select_related("membership")
    every = [member_of(row) for row in rows.order_by("membership__code", "audit_year")]
    members = merged(every)
    technique, side = (
        group_lines(members, outcome, unit, kind(members, outcome, unit))
        for kind in (groups.by_technique, groups.by_side)
    )
    exposure = groups.exposure_lines(members, outcome, unit, technique)
    found = pooled(members, outcome, unit)
    cut = cut_words(member.manifest for member in every)
    mix = case_mix(members, outcome, unit, found.headline)
    return Compared(tuple(members), found, technique, exposure, side, mix, cut)


def member_of(row: PeerSet) -> "Member":
    """The rows of a set that was read whole when it came in."""
    from audit.exchange.cells import read_rows
    from audit.exchange.columns import FILE
    from audit.exchange.manifest import read
    from audit.exchange.pooled import Member

    with zipfile.ZipFile(io.BytesIO(bytes(row.file))) as archive:
        rows = read_rows(archive.read(FILE))
    return Member(row.membership.code, read(row.manifest), rows)


def merged(members: "list[Member]") -> "list[Member]":
    """One member a practice, whatever number of years it handed in; codes of two files never meet."""
    import pandas as pd

    from audit.exchange.pooled import Member

    found: dict[str, Member] = {}
    for member in members:
        earlier = found.get(member.code)
        rows = member.rows if earlier is None else pd.concat([earlier.rows, member.rows], ignore_index=True)
        found[member.code] = Member(member.code, member.manifest, rows)
    return list(found.values())


def page(place: Place, answer: Compared) -> dict[str, Any]:
    """What page and paper print."""
    from audit.exchange.pooled import years_of

    group, found = place.group, answer.found
    charts = all_charts(answer, place.own_code) if found.shown else []
    own = next((each for each in found.headline.contributions if each.code == place.own_code), None)
    return {
        "place": place,
        "group": group,
        "found": found,
        "pool": found.headline.pool if found.shown else None,
        "own": own.found if own and found.shown else None,
        "checks": checks_of(place, answer),
        "charts": charts,
        "mix": answer.mix,
        "cut": answer.cut,
        "query": {"outcome": found.outcome.value, "unit": found.unit.value},
        "outcomes": OUTCOMES,
        "units": UNITS,
        "years": [
            period_words(each) for each in sorted({each for member in answer.members for each in years_of(member)})
        ],
        "practices": len(answer.members),
    }


def checks_of(place: Place, answer: Compared) -> "tuple[Check, ...]":
    from audit.exchange.before import checks

    pooled = Q(state=SetState.POOLED, membership__left_at__isnull=True, verified=False)
    counted = PeerSet.objects.filter(membership__group=place.group).aggregate(
        apart=Count("pk", filter=Q(state=SetState.APART)), brought=Count("pk", filter=pooled)
    )
    refused = Refusal.objects.filter(group=place.group).count()
    return checks(answer.members, answer.found, refused=refused, **counted)


def all_charts(answer: Compared, own: str) -> "list[AnyChart]":
    """Every chart of the comparison, in the order of print."""
    from audit.exchange import groups, pictures

    found = answer.found
    charts: list[AnyChart] = [pictures.forest(found, own)]
    if (beside := pictures.funnel_chart(found, own)) is not None:
        charts.append(beside)
    unnamed, withheld = groups.unnamed_agents(answer.members), groups.withheld_times(answer.members)
    charts.append(pictures.groups_chart(found, "by-technique", "By technique and agent", answer.technique, unnamed))
    title = "Partial avulsion with phenol, by exposure"
    charts.append(pictures.groups_chart(found, "by-exposure", title, answer.exposure, withheld))
    charts.append(pictures.groups_chart(found, "by-side", "By treated side", answer.side))
    return charts


@require_methods("GET")
@allowed(Action.READ_POOLED)
def chart(request: HttpRequest, key: str, slug: str, form: str) -> HttpResponse:
    from audit.charts import draw, telling

    place = own_place(request, key)
    answer = answered(place, *question(request, place))
    if not answer.found.shown:
        raise Http404
    wanted = next((each for each in all_charts(answer, place.own_code) if each.slug == slug), None)
    if wanted is None or form not in {*PICTURES, "csv"}:
        raise Http404
    if form in TAKEN:
        take(practice=request.user.practice, by=request.user, what=Taking.What.POOLED, now=timezone.now(),
             about=f"{place.group.code} {slug}.{form}")  # fmt: skip
    if form == "csv":
        return download(telling.csv_text(wanted).encode(), f"{slug}.csv", "text/csv; charset=utf-8")
    theme, width = one_of(request, "theme", THEMES), one_of(request, "width", WIDTHS)
    return HttpResponse(draw.image(wanted, theme=theme, width=width, form=form), content_type=PICTURES[form])


@require_methods("POST")
@allowed(Action.READ_POOLED)
def report(request: HttpRequest, key: str) -> HttpResponse:
    """The report for the group as PDF. It marks nobody's own code: it is handed round."""
    place = own_place(request, key)
    shown = page(Place(place.group, False, None), answered(place, *question(request, place)))
    try:
        data = pdf_of_html(paper(shown), STYLE.read_text("utf-8"))
    except NoPaper:
        messages.error(request, "This server cannot make PDF; print the page from the browser instead.")
        return redirect("compare", place.group.key)
    take(practice=request.user.practice, by=request.user, what=Taking.What.REPORT, now=timezone.now(),
         about=place.group.code)  # fmt: skip
    return download(data, "peer-comparison.pdf", "application/pdf")


def paper(shown: dict[str, Any]) -> str:
    """The comparison with its pictures in greys, laid out like the practice's own report."""
    pictures = [{**drawn(chart), "notes": chart.notes} for chart in shown["charts"]]
    return render_to_string("exchange/report_paper.html", {**shown, "pictures": pictures})
