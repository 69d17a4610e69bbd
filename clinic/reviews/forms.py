"""The chairside review: one form for the visit, one per treated toe, one per treated side, cleaned together."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.forms import BaseForm

from clinic.access.answers import ConfirmForm, under
from clinic.access.numbers import say_day
from clinic.procedures.models import NailProcedure, Operation
from clinic.reviews.models import Review
from clinic.reviews.questions import SideForm, ToeForm, VisitForm
from clinic.reviews.recording import Findings
from clinic.reviews.sentences import toe_name
from clinic.vocabulary import review as words
from clinic.vocabulary.sites import capital, part_name


@dataclass
class ToePanel:
    nail: NailProcedure
    form: ToeForm
    sides: list[SideForm]


class ReviewEntry:
    """All forms of one review page, cleaned together; `warnings` need a tick and a reason before saving."""

    def __init__(
        self,
        *,
        operation: Operation,
        earlier: list[Review],
        today: date,
        data: Mapping[str, Any] | None = None,
        initial: Mapping[str, Any] | None = None,
    ) -> None:
        self.operation, self.earlier, self.data = operation, earlier, data
        initial = initial or {}
        self.visit = VisitForm(data, prefix="visit", initial=under("visit", initial), operation=operation, today=today)
        self.confirm = ConfirmForm(data, prefix="confirm", initial=under("confirm", initial))
        self.panels = []
        for nail in operation.nail_procedures.all():
            sides = [
                SideForm(
                    data, prefix=f"side-{treated.key}", initial=under(f"side-{treated.key}", initial), treated=treated
                )
                for treated in nail.treated_sides.all()
            ]
            toe = ToeForm(data, prefix=f"toe-{nail.key}", initial=under(f"toe-{nail.key}", initial), nail=nail)
            self.panels.append(ToePanel(nail, toe, sides))
        self.from_draft = False
        self.warnings: list[str] = []
        self.foreign_errors: list[str] = []

    def forms(self) -> list[forms.Form]:
        parts: list[forms.Form] = [self.visit]
        for panel in self.panels:
            parts += [panel.form, *panel.sides]
        return [*parts, self.confirm]

    def is_valid(self) -> bool:
        valid = all([form.is_valid() for form in self.forms()])
        self._refuse_untreated_sides()
        self._check_ending()
        valid = valid and not self.foreign_errors and not self.visit.errors
        if valid:
            self._find_warnings()
            valid = self.confirm.settles(self.warnings)
        return valid

    def errors(self) -> list[tuple[str, str]]:
        """Pairs of the field's id (empty for the page) and its text, in the order of the page."""
        found = [("", text) for text in self.foreign_errors]
        several = len(self.panels) > 1
        for form in self.forms():
            where = self._where(form, several=several)
            for name, texts in form.errors.items():
                anchor = form[name].auto_id if name in form.fields else ""
                found += [(anchor, f"{where}{text}") for text in texts]
        return found

    def _where(self, form: BaseForm, *, several: bool) -> str:
        """Which toe and side a sentence of the summary is about, where there is more than one."""
        if isinstance(form, ToeForm):
            return f"{toe_name(form.nail)}: " if several else ""
        if isinstance(form, SideForm) and (several or len(form.treated.nail_procedure.sides) > 1):
            toe = f"{toe_name(form.treated.nail_procedure)}, " if several else ""
            side = part_name(form.treated.side)
            return f"{toe}{side}: " if several else f"{capital(side)}: "
        return ""

    def findings(self) -> Findings:
        return Findings(
            toes={panel.nail: panel.form.answers() for panel in self.panels},
            sides={side.treated: side.answers() for panel in self.panels for side in panel.sides},
        )

    @property
    def reason(self) -> str:
        return self.confirm.reason_for(self.warnings)

    def _refuse_untreated_sides(self) -> None:
        known = {side.treated.key for panel in self.panels for side in panel.sides}
        sent = {name.split("-")[1] for name in (self.data or {}) if name.startswith("side-") and name.count("-") == 2}
        if sent - known:
            self.foreign_errors = ["A finding was sent for a side that was not treated in this operation"]

    def _check_ending(self) -> None:
        ending = self.visit.cleaned_data.get("next_step") == words.NextStep.END_CLINIC if self.visit.is_bound else False
        open_toe = any(
            panel.form.cleaned_data.get("healing") in {words.Healing.MOIST, words.Healing.NOT_HEALING}
            for panel in self.panels
        )
        if ending and open_toe and not self.visit.cleaned_data.get("next_reason"):
            self.visit.add_error(
                "next_reason", "The toe is recorded as not healed. Give the reason for ending clinic reviews"
            )

    def _find_warnings(self) -> None:
        seen_on = self.visit.cleaned_data["seen_on"]
        for review in self.earlier:
            if review.seen_on == seen_on:
                self.warnings.append(
                    f"A review of this operation dated {say_day(seen_on)} was already saved by {review.recorded_by}. "
                    "Is this a second one?"
                )
                break
        for panel in self.panels:
            for side in panel.sides:
                self._warn_of_clear_after_regrowth(side, seen_on)

    def _warn_of_clear_after_regrowth(self, side: SideForm, seen_on: date) -> None:
        if side.cleaned_data["extent"] != words.Extent.NONE:
            return
        for review in self.earlier:
            regrown = any(
                finding.treated_side_id == side.treated.pk and words.Extent(finding.extent).regrown
                for finding in review.side_findings.all()
            )
            if regrown and review.seen_on <= seen_on:
                self.warnings.append(
                    f"Regrowth at the {part_name(side.treated.side)} was recorded on {say_day(review.seen_on)}. "
                    "Both findings are kept, and the first regrowth counts."
                )
                return
