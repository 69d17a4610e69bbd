"""Looking between two audits: running sum, events between, completeness, exposure. A signal means: look at it."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from crispy_forms.helper import FormHelper
from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from audit import cohort
from audit.forms import day_field
from audit.models import ChangeNote
from audit.periods import EARLIEST, said
from audit.records import standards_of
from audit.stored import Shelf
from audit.views.results import PICTURES, drawn
from audit.workspace_forms import NoteForm
from clinic.access.decorators import allowed, require_methods
from clinic.access.models import Practice
from clinic.access.once import claim, first_or_result
from clinic.access.rules import Action

Plain = dict[str, Any]
# What may be watched, with the criterion whose target is the accepted rate.
WATCHED = (
    ("any_regrowth", "Any regrowth"),
    ("symptomatic_recurrence", "Symptomatic recurrence"),
    ("infection", "Infection by rule A"),
)
CRITERION = {"any_regrowth": "O6", "symptomatic_recurrence": "O5", "infection": "O2"}
CHANCES = (("0.01", "1 in 100"), ("0.05", "5 in 100"), ("0.1", "10 in 100"), ("0.2", "20 in 100"))
# Where a criterion has no target, the chart still needs a rate to hold against.
USUAL_RATE = 0.05
YEARS_BACK = 4


class WatchForm(forms.Form):
    """Sent by GET, so that the address of a chart can be kept."""

    watched = forms.ChoiceField(label="Measure", choices=WATCHED)
    since = day_field("Surgery since")
    chance = forms.ChoiceField(
        label="Accepted chance of a false alarm in a year", choices=CHANCES, help_text="It sets the limit of the sum"
    )

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.disable_csrf = True

    def clean_since(self) -> date:
        day = self.cleaned_data["since"]
        if not EARLIEST <= day <= self.today:
            raise ValidationError(f"The first day of surgery must not be after today, {said(self.today)}.")
        return day


@dataclass(frozen=True)
class Watching:
    piece: Plain
    query: dict[str, str]
    notes: list[ChangeNote]

    @property
    def changes(self) -> list[tuple[date, str]]:
        return [(note.changed_on, note.what) for note in self.notes]


def asked(request: HttpRequest) -> WatchForm:
    today = timezone.localdate()
    given = {name: value for name, value in request.GET.items() if name in WatchForm.base_fields}
    since = (today - timedelta(days=round(365.25 * YEARS_BACK))).isoformat()
    form = WatchForm({"watched": "any_regrowth", "since": since, "chance": "0.1", **given}, today=today)
    form.is_valid()
    return form


def watching_of(form: WatchForm, practice: Practice, *, now: datetime) -> Watching:
    """The stored figures of the page, counted afresh when any record changed."""
    answers, today = form.cleaned_data, form.today
    query = {"watched": answers["watched"], "since": answers["since"].isoformat(), "chance": answers["chance"]}
    standard = next(each for each in standards_of(practice) if each.code == CRITERION[answers["watched"]])
    accepted = standard.target if standard.target and 0 < standard.target < 1 else USUAL_RATE
    shortest, longest = practice.exposure_note_below_seconds or 0, practice.exposure_note_seconds

    def count() -> Plain:
        from audit.measures.material import in_order
        from audit.measures.monitoring import Watched
        from audit.report.watching import Watch, watching_piece

        frames = cohort.build(practice, performed_from=answers["since"], performed_to=today, as_of=today)
        watch = Watch(Watched(answers["watched"]), accepted, float(answers["chance"]), shortest, longest)
        return watching_piece(in_order(frames), watch)

    asked_for = {
        "kind": "watching",
        **query,
        "today": today.isoformat(),
        "accepted": accepted,
        "range": [shortest, longest],
    }
    piece = Shelf(practice, now).figures(asked_for, count)
    notes = list(ChangeNote.objects.filter(practice=practice).select_related("noted_by"))
    return Watching(piece, query, notes)


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def monitoring(request: HttpRequest) -> HttpResponse:
    form = asked(request)
    if form.errors:
        return render(request, "audit/monitoring.html", {"form": form}, status=400)
    return _page(request, form, NoteForm(today=form.today))


def _page(request: HttpRequest, form: WatchForm, note_form: NoteForm, *, status: int = 200) -> HttpResponse:
    from audit.report.watching import watching_charts

    found = watching_of(form, request.user.practice, now=timezone.now())
    context = {
        "form": form,
        "note_form": note_form,
        "piece": found.piece,
        "query": found.query,
        "notes": found.notes,
        "charts": {chart.slug.replace("-", "_"): chart for chart in watching_charts(found.piece, found.changes)},
    }
    return render(request, "audit/monitoring.html", context, status=status)


@require_methods("GET")
@allowed(Action.READ_AUDIT)
def monitoring_chart(request: HttpRequest, slug: str, form: str) -> HttpResponse:
    from audit.report.watching import watching_charts

    question = asked(request)
    if question.errors or form not in {*PICTURES, "csv"}:
        raise Http404
    found = watching_of(question, request.user.practice, now=timezone.now())
    chart = next((each for each in watching_charts(found.piece, found.changes) if each.slug == slug), None)
    if chart is None:
        raise Http404
    return drawn(request, chart, form)


@require_methods("POST")
@allowed(Action.SET_AUDIT)
def change_note(request: HttpRequest) -> HttpResponse:
    """A dated note of what was changed in the practice, drawn as an upright into every chart."""
    form = NoteForm(request.POST, today=timezone.localdate())
    valid = form.is_valid()
    if earlier := first_or_result(request.user, request.POST.get("once", "")):
        return redirect(earlier)
    if not valid:
        question = asked(request)
        return _page(request, question, form, status=400)
    goes_to = reverse("audit-monitoring")
    with transaction.atomic():
        if earlier := claim(request.user, form.once, goes_to):
            return redirect(earlier)
        note = ChangeNote(
            practice=request.user.practice, changed_on=form.cleaned_data["changed_on"], what=form.cleaned_data["what"],
            noted_by=request.user,
        )  # fmt: skip
        note.keep(by=request.user, reason="Noted")
    messages.success(request, "Noted. The charts show it as an upright.")
    return redirect(goes_to)
