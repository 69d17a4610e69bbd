"""What every page of the six steps needs: the year, its figures, and where each step stands."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import wraps
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from audit import cycle
from audit.cycle import Facts, State, Step
from audit.forms import Question
from audit.measures.standards import Standard
from audit.measures.years import year_label
from audit.models import Action, AuditYear, SignedAudit
from audit.periods import Period, audit_year, matured, matures_on
from audit.records import standard_for, standards_of
from audit.stored import Shelf
from audit.views.answers import common_asked, common_figures, outcome_asked, outcome_figures
from clinic.access.models import Practice

Plain = dict[str, Any]
FIRST_YEAR, LAST_YEAR = 1900, 2200
PRIMARY_OUTCOME = "symptomatic_recurrence"


@dataclass
class Desk:
    """One audit year on the table. year: None until the period is chosen."""

    practice: Practice
    starting_year: int
    year: AuditYear | None
    standards: tuple[Standard, ...]
    signature: SignedAudit | None
    carried: list[Action]
    own: list[Action]
    now: datetime
    facts: Facts
    common: Plain | None
    shelf: Shelf

    @property
    def steps(self) -> tuple[Step, ...]:
        return cycle.steps(self.facts)

    @property
    def period(self) -> Period:
        return audit_year(self.practice, self.starting_year)

    @property
    def label(self) -> str:
        return year_label(self.starting_year)

    @property
    def is_preliminary(self) -> bool:
        return self.year is not None and not matured(self.period, self.year.as_of)

    @property
    def has_open_windows(self) -> bool:
        """Whether even today some operation of the year could not have reached day 425."""
        return not matured(self.period, timezone.localdate())

    @property
    def matures_on(self) -> Any:
        return matures_on(self.period)

    def question(self, outcome: str = PRIMARY_OUTCOME) -> Question:
        if self.year is None:
            raise Http404
        bands = tuple(self.practice.exposure_bands_seconds)
        return Question(self.period, self.year.as_of, "side", outcome, bands)

    def figures(self, outcome: str = PRIMARY_OUTCOME) -> Plain:
        """The stored figures of one outcome."""
        return outcome_figures(self.question(outcome), self.standard_of(outcome), self.shelf)

    def standard_of(self, outcome: str) -> float | None:
        return standard_for(self.standards, outcome)

    def expect(self) -> None:
        """Everything of this year that may be stored, in one statement."""
        asked = [
            outcome_asked(self.question(outcome), self.standard_of(outcome), self.practice)
            for outcome in cycle_criteria().values()
        ]
        self.shelf.expect([common_asked(self.question()), *asked])

    def annual(self) -> Plain:
        """All figures of the year, put together from the stored ones."""
        from audit.report.annual import assembled

        outcomes = {outcome: self.figures(outcome) for outcome in cycle_criteria().values()}
        return assembled(outcomes, self.common or {}, self.standards)


def cycle_criteria() -> dict[str, str]:
    from audit.measures.criteria import OUTCOME_CRITERIA

    return OUTCOME_CRITERIA


def desk_of(request: HttpRequest, starting_year: int) -> Desk:
    """Reads one year of the member's practice; 404 for a year that has not begun."""
    now, practice = timezone.now(), request.user.practice  # type: ignore[union-attr]
    today = timezone.localdate()
    if not FIRST_YEAR <= starting_year <= LAST_YEAR or audit_year(practice, starting_year).performed_from > today:
        raise Http404
    years = AuditYear.objects.visible_to(request.user).select_related("practice", "opened_by")  # type: ignore[arg-type]
    year = years.filter(starting_year=starting_year).first()
    standards = standards_of(practice)
    if year is None:
        return Desk(practice, starting_year, None, standards, None, [], [], now, Facts(), None, Shelf(practice, now))
    actions = cycle.actions_until(year)
    carried, own = cycle.carried_of(actions, year), [each for each in actions if each.audit_year_id == year.pk]
    signature, shelf = cycle.signature_of(year), Shelf(practice, now)
    desk = Desk(practice, starting_year, year, standards, signature, carried, own, now, Facts(), None, shelf)
    desk.expect()
    desk.common = common_figures(desk.question(), desk.shelf)
    blocks = sum(row["number"] for row in desk.common["quality"] if row["weight"] == "blocks")
    desk.facts = cycle.facts_of(
        year, open_now=blocks, standards=standards, today=today, signature=signature, carried=carried,
        actions=len(own),
    )  # fmt: skip
    return desk


def has_moved_on(request: HttpRequest, now: str) -> bool:
    """Whether what was read is no longer so: the page names what it showed in a hidden field. now: that of today."""
    return request.POST.get("seen", now) != now


StepView = Callable[[HttpRequest, Desk], HttpResponse]


def step_page(code: str) -> Callable[[StepView], Callable[..., HttpResponse]]:
    """A page of one step: blocked, it says why and leads to what is missing; signed, nothing is written."""

    def decorate(view: StepView) -> Callable[..., HttpResponse]:
        @wraps(view)
        def shown(request: HttpRequest, year: int, **more: Any) -> HttpResponse:
            desk = desk_of(request, year)
            step = cycle.step_of(desk.facts, code)
            if step.state is State.BLOCKED:
                missing = next(each for each in desk.steps if each.state is not State.DONE)
                context = {"desk": desk, "current": code, "step": step, "missing": missing}
                return render(request, "audit/step_blocked.html", context, status=409)
            if request.method == "POST" and desk.signature and code != "sign-off":
                messages.error(request, "This audit is signed. Open it again with a reason before you change it.")
                return redirect("audit-sign", year)
            return view(request, desk, **more)

        return shown

    return decorate


def page(
    request: HttpRequest, template: str, desk: Desk, current: str, *, status: int = 200, **more: Any
) -> HttpResponse:
    step = cycle.step_of(desk.facts, current)
    return render(request, template, {"desk": desk, "current": current, "step": step, **more}, status=status)
