"""The results page of the audit, its charts and files, and the records behind each number."""

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render

from audit.charts import words
from audit.forms import Question
from audit.measures.definitions import TWELVE_MONTHS, Status
from audit.process_cohort import process_toes
from audit.templatetags.figures import axis_top
from audit.views.answers import Answer, answer_to, asked, numbers, records
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Practice
from clinic.access.rules import Action

PICTURES = {"svg": "image/svg+xml", "png": "image/png"}
THEMES = ("light", "dark", "print")
WIDTHS = ("wide", "narrow")
STATUS_WORDS = {
    "ascertained": "outcome known",
    "eligible": "eligible",
    "censored": "counted apart",
    "late_event": "first seen after the window",
    "contacted": "with a contact on day 1 to 30",
    "without_contact": "without a contact on day 1 to 30",
    "flagged": "flagged",
    "reported": "from a report alone",
    **{status.value: status.label.lower() for status in Status},
}


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def results(request: HttpRequest) -> HttpResponse:
    form = asked(request)
    if form.errors:
        return render(request, "audit/results.html", {"form": form}, status=400)
    answer = answer_to(form.question, request.user.practice)
    return render(request, "audit/results.html", {"form": form, **page(answer)})


def page(answer: Answer) -> dict[str, object]:
    """What the template prints; every number in it comes from the same answer."""
    from audit.charts.words import percent
    from audit.report import figures

    yearly = answer.yearly
    interval = yearly.headline.interval
    first, _, rest = yearly.headline_sentence.partition(". ")
    rows = [yearly.headline, *(row for table in yearly.tables for row in table.rows)]
    return {
        "answer": answer,
        "yearly": yearly,
        "query": answer.question.query,
        "headline_first": first.removesuffix(".") + ".",
        "headline_rest": rest,
        "is_empty": answer.cohort.sides.empty,
        "axis": axis_top(rows, yearly.standard),
        "charts": figures.all_figures(yearly),
        "bands_in_words": ", ".join(str(limit) for limit in answer.cohort.bands),
        "comparisons": sum(row.interval is not None for table in yearly.tables for row in table.rows),
        "headline_figure": percent(interval.rate).removesuffix(" %") if interval and interval.rate is not None else "",
        "unused": [row.label for row in yearly.technique.rows if row.keys and not any(row.keys.values())],
        "window": TWELVE_MONTHS,
    }


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def chart(request: HttpRequest, slug: str, form: str) -> HttpResponse:
    """One chart of the page as picture or as file, drawn from the same question."""
    from audit.report import figures

    answer = required_answer(request)
    wanted = next((each for each in figures.all_figures(answer.yearly) if each.slug == slug), None)
    if wanted is None or form not in {*PICTURES, "csv"}:
        raise Http404
    if form == "csv":
        return download(words.csv_text(wanted), f"{slug}.csv")
    from audit.charts import draw

    theme, width = one_of(request, "theme", THEMES), one_of(request, "width", WIDTHS)
    return HttpResponse(draw.image(wanted, theme=theme, width=width, form=form), content_type=PICTURES[form])


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def behind(request: HttpRequest) -> HttpResponse:
    """The records behind one number."""
    answer = required_answer(request)
    group, status = request.GET.get("group", ""), request.GET.get("status", "")
    keys = numbers(answer.yearly).get((group, status))
    if keys is None:
        raise Http404
    shown = records(answer, group, keys)
    context = {
        "answer": answer,
        "yearly": answer.yearly,
        "query": answer.question.query,
        "group_label": label_of_group(answer, group),
        "status_label": STATUS_WORDS[status],
        "is_infection": group.startswith("infection"),
        "has_several_sides": any(len(record.sides) > 1 for record in shown),
        "unit_label": "nail procedures" if group.startswith("infection") else answer.yearly.unit.plural,
        "records": shown,
    }
    return render(request, "audit/records.html", context)


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def as_json(request: HttpRequest) -> HttpResponse:
    """The figures as plain values: the same as the audit command prints."""
    from audit.report import yearly

    answer = required_answer(request)
    figures = yearly.to_json(answer.yearly) | process_figures(request.user.practice, answer.question)
    return JsonResponse(figures, json_dumps_params={"ensure_ascii": False})


def process_figures(practice: Practice, question: Question) -> dict[str, object]:
    from audit.measures.process import process
    from audit.report.process import to_json

    period = question.period
    toes = process_toes(
        practice, performed_from=period.performed_from, performed_to=period.performed_to, as_of=question.as_of
    )
    return {"process": to_json(process(toes))}


def required_answer(request: HttpRequest) -> Answer:
    """The answer for a picture, a file or a list; a question that cannot be answered has none."""
    form = asked(request)
    if form.errors:
        raise Http404
    return answer_to(form.question, request.user.practice)  # type: ignore[union-attr]


def one_of(request: HttpRequest, name: str, values: tuple[str, ...]) -> str:
    wanted = request.GET.get(name, values[0])
    if wanted not in values:
        raise Http404
    return wanted


def download(text: str, filename: str) -> HttpResponse:
    headers = {"Content-Disposition": f'attachment; filename="{filename}"'}
    return HttpResponse(text, content_type="text/csv; charset=utf-8", headers=headers)


def label_of_group(answer: Answer, group: str) -> str:
    """The group as the page names it."""
    yearly = answer.yearly
    kind, _, code = group.partition("/")
    labels = {
        "headline": yearly.headline.label,
        "no_matricectomy": yearly.no_matricectomy.label,
        "follow_up": "Follow-up at 12 months",
        "examined": yearly.follow_up.examined.label,
        "infection": "Infection within 30 days",
    }
    labels |= {f"{table.code}/{row.code}": row.label for table in yearly.tables for row in table.rows}
    labels |= {f"source/{part.code}": part.label for part in yearly.follow_up.by_source}
    labels |= {f"reason/{part.code}": part.label for part in yearly.follow_up.by_reason}
    labels |= {f"infection/{flag.flag.value}": flag.flag.label for flag in yearly.infection.flags}
    return labels.get(group, f"{kind} {code}")
