"""The results of a question: the outcome, the course after surgery, charts, files, and the records behind numbers."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone

from audit.charts import telling
from audit.forms import Question
from audit.measures.definitions import DEFINITIONS, TWELVE_MONTHS, Outcome, Unit
from audit.process_cohort import process_toes
from audit.records import read_years
from audit.stored import Shelf
from audit.templatetags.figures import axis_top
from audit.views.answers import Answer, answer_to, asked, common_figures
from audit.views.behind import toe_records, unit_records
from audit.views.numbers import (
    STATUS_WORDS,
    TABLES,
    common_labels,
    common_numbers,
    is_common,
    outcome_labels,
    outcome_numbers,
)
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Practice
from clinic.access.rules import Action

PICTURES = {"svg": "image/svg+xml", "png": "image/png"}
THEMES = ("light", "dark", "print")
WIDTHS = ("wide", "narrow")
Plain = dict[str, Any]


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def results(request: HttpRequest) -> HttpResponse:
    form = asked(request)
    if form.errors:
        return render(request, "audit/results.html", {"form": form}, status=400)
    answer = answer_to(form.question, request.user.practice, now=timezone.now())
    return render(request, "audit/results.html", {"form": form, **outcome_page(answer)})


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def course(request: HttpRequest) -> HttpResponse:
    """What happened after surgery, whatever the outcome asked for: infection, healing, pain, visits, events."""
    form = asked(request)
    if form.errors:
        return render(request, "audit/course.html", {"form": form}, status=400)
    question = form.question
    common = common_figures(question, Shelf(request.user.practice, timezone.now()))
    return render(request, "audit/course.html", {"form": form, "question": question, **course_page(question, common)})


def outcome_page(answer: Answer) -> Plain:
    """What the template prints; every number in it comes from the same answer."""
    from audit.charts.words import percent
    from audit.report.declared import BY_CODE
    from audit.report.figures import outcome_charts

    piece, question = answer.piece, answer.question
    rate = (piece["headline"]["interval"] or {}).get("rate")
    first, _, rest = piece["headline"]["sentence"].partition(". ")
    rows = [piece["headline"], *(row for code in TABLES for row in piece[code])]
    return {
        "answer": answer,
        "question": question,
        "yearly": piece,
        "outcome": Outcome(question.outcome),
        "unit": Unit(question.unit),
        "query": question.query,
        "tables": [{"code": code, **piece["titles"][code], "rows": piece[code]} for code in TABLES],
        "headline_first": first.removesuffix(".") + ".",
        "headline_rest": rest,
        "is_empty": answer.is_empty,
        "axis": axis_top(rows, piece["standard"]),
        "charts": outcome_charts(piece),
        "definitions": DEFINITIONS,
        "declared": BY_CODE,
        "bands_in_words": ", ".join(str(limit) for limit in piece["bands"]),
        "comparisons": sum(row["interval"] is not None for code in TABLES for row in piece[code]),
        "headline_figure": percent(rate).removesuffix(" %") if rate is not None else "",
        "unused": [row["label"] for row in piece["technique"] if row["records"] and not any(row["records"].values())],
        "window": TWELVE_MONTHS,
    }


def course_page(question: Any, common: Plain) -> Plain:
    from audit.report.declared import BY_CODE
    from audit.report.figures import common_charts

    return {
        "common": common,
        "query": question.query,
        "charts": common_charts(common),
        "definitions": DEFINITIONS,
        "declared": BY_CODE,
        "is_empty": not common["infection"]["toes"],
    }


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def chart(request: HttpRequest, slug: str, form: str) -> HttpResponse:
    """One chart of the page as picture or as file, drawn from the same question."""
    from audit.report.figures import common_charts, outcome_charts

    question, practice, now = required_question(request), request.user.practice, timezone.now()
    if form not in {*PICTURES, "csv"}:
        raise Http404
    if slug.startswith(tuple(outcome.value.replace("_", "-") for outcome in Outcome)):
        charts = outcome_charts(answer_to(question, practice, now=now).piece)
    else:
        charts = common_charts(common_figures(question, Shelf(practice, now)))
    wanted = next((each for each in charts if each.slug == slug), None)
    if wanted is None:
        raise Http404
    return drawn(request, wanted, form)


def drawn(request: HttpRequest, chart: telling.AnyChart, form: str) -> HttpResponse:
    """A chart as CSV or as picture in the look that the address asks for."""
    if form == "csv":
        return download(telling.csv_text(chart), f"{chart.slug}.csv")
    from audit.charts import draw

    theme, width = one_of(request, "theme", THEMES), one_of(request, "width", WIDTHS)
    return HttpResponse(draw.image(chart, theme=theme, width=width, form=form), content_type=PICTURES[form])


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def behind(request: HttpRequest) -> HttpResponse:
    """The records behind one number."""
    question, practice, now = required_question(request), request.user.practice, timezone.now()
    group, status = request.GET.get("group", ""), request.GET.get("status", "")
    common = is_common(group)
    if common:
        piece = common_figures(question, Shelf(practice, now))
        keys, labels = common_numbers(piece).get((group, status)), common_labels(piece)
    else:
        piece = answer_to(question, practice, now=now).piece
        keys, labels = outcome_numbers(piece).get((group, status)), outcome_labels(piece)
    if keys is None:
        raise Http404
    frames = read_years(practice, question.period, as_of=question.as_of)
    shown = (
        toe_records(frames, group, keys) if common
        else unit_records(frames, question.outcome, question.unit, group, keys)
    )  # fmt: skip
    context = {
        "question": question,
        "query": question.query,
        "group_label": labels.get(group, group),
        "status_label": STATUS_WORDS.get(status, status),
        "is_common": common,
        "is_infection": group.startswith("infection"),
        "has_several_sides": any(len(record.sides) > 1 for record in shown),
        "outcome": Outcome(question.outcome),
        "unit_label": "nail procedures" if common else Unit(question.unit).plural,
        "definitions": DEFINITIONS,
        "audit_year": year_asked(request),
        "step": BACK_TO.get(request.GET.get("step", "quality")),
        "records": shown,
    }
    return render(request, "audit/records.html", context)


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def as_json(request: HttpRequest) -> HttpResponse:
    """The figures as plain values: the same as the audit command prints."""
    from audit.report.plain import without_records

    question = required_question(request)
    answer = answer_to(question, request.user.practice, now=timezone.now())
    figures = without_records(answer.piece) | process_figures(request.user.practice, question)
    return JsonResponse(figures, json_dumps_params={"ensure_ascii": False})


def process_figures(practice: Practice, question: Question) -> dict[str, object]:
    from audit.measures.process import process
    from audit.report.process import to_json

    period = question.period
    toes = process_toes(
        practice, performed_from=period.performed_from, performed_to=period.performed_to, as_of=question.as_of
    )
    return {"process": to_json(process(toes))}


def required_question(request: HttpRequest) -> Any:
    """The question of a picture, a file or a list; one that cannot be answered has none."""
    form = asked(request)
    if form.errors:
        raise Http404
    return form.question


# Steps of a yearly audit whose numbers lead to records: page, and its name in a sentence.
BACK_TO = {
    "quality": ("audit-quality", "data quality"),
    "results": ("audit-year-results", "the results"),
    "standard": ("audit-standard", "the standard"),
}


def year_asked(request: HttpRequest) -> int | None:
    """The audit year from one of whose steps the records were opened."""
    year = request.GET.get("audit", "")
    return int(year) if year.isascii() and year.isdigit() and len(year) == 4 else None


def one_of(request: HttpRequest, name: str, values: tuple[str, ...]) -> str:
    wanted = request.GET.get(name, values[0])
    if wanted not in values:
        raise Http404
    return wanted


def download(text: str, filename: str) -> HttpResponse:
    headers = {"Content-Disposition": f'attachment; filename="{filename}"'}
    return HttpResponse(text, content_type="text/csv; charset=utf-8", headers=headers)
