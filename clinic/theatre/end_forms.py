"""The end of an operation as forms: one for the attendance, one per toe, and the tick for what a template filled in."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from django import forms
from django.utils import timezone

from clinic.access.answers import AskedWhenNeeded, ConfirmForm, choice, said, text_of
from clinic.access.forms import Difference
from clinic.access.models import Practice
from clinic.access.numbers import DayField, NumberField, WholeNumberField
from clinic.practice.filling import AT_END, AT_TOE_END, FromTemplate, answers_from
from clinic.practice.notes import TourniquetLevel, exposure_note, tourniquet_time
from clinic.practice.offers import not_used, offer
from clinic.procedures.models import NailProcedure, Operation
from clinic.theatre.clock import ClockField, instant_of
from clinic.vocabulary import procedure as words
from clinic.vocabulary import theatre as room
from clinic.vocabulary.sites import capital, part_name, toe_name
from clinic.vocabulary.terms import Term

TICK = "What came from the template is what was used and done"
LONGEST_OVER_MIDNIGHT = timedelta(hours=3)
TOURNIQUET_USED = tuple(term.value for term in words.Tourniquet if term not in {"none", "not_recorded"})
SIGHT = (words.Answer.YES, words.Answer.NO, words.Answer.NOT_APPLICABLE, words.Answer.NOT_RECORDED)


class ToeEndForm(AskedWhenNeeded, forms.Form):
    """The end of the operation at one toe."""

    tourniquet = choice("Tourniquet", words.Tourniquet, "Choose the tourniquet, or “None used”",
                        opens=TOURNIQUET_USED, columns=3)  # fmt: skip
    on_at = ClockField(label="Tourniquet on", required=False)
    off_at = ClockField(label="Tourniquet off", required=False)
    witnessed = choice("Seen off by two people", SIGHT, "Choose whether two people saw the tourniquet off", columns=4)
    removal_seen_by = forms.CharField(
        label="Initials of the second person, or “patient”, “carer”", max_length=60,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )  # fmt: skip
    toe_colour = choice("Colour of the toe afterwards", room.ToeColour, "Choose the colour of the toe", columns=4)
    capillary_refill_seconds = NumberField(
        label="Capillary refill", label_for_errors="Capillary refill", unit="s", min_value=0, max_value=30
    )
    block_result = choice("The block", room.BlockResult, "Choose how the block worked", columns=4)
    agent_batch = forms.CharField(label="Batch of the agent", max_length=30, required=False)
    agent_expires_on = DayField(
        label="Expiry of the agent", label_for_errors="the expiry", may_be_future=True, required=False
    )
    skin_protected = choice("Skin protected", SIGHT, "Choose whether the skin was protected", columns=4)
    dry_field = choice("Dry field before the agent", SIGHT, "Choose whether the field was dry", columns=4)
    lavage_ml = WholeNumberField(
        label="Amount of lavage", label_for_errors="Amount of lavage", unit="mL", min_value=0, max_value=100,
        required=False,
    )  # fmt: skip
    haemostasis = choice("Bleeding controlled by", room.Haemostasis, "Choose how bleeding was controlled", columns=3)
    histology_sent = choice("Tissue sent to histology", SIGHT, "Choose whether tissue was sent", columns=4)
    asked_when_needed = ("witnessed", "removal_seen_by", "toe_colour", "capillary_refill_seconds", "skin_protected",
                         "dry_field")  # fmt: skip

    def __init__(self, *args, nail: NailProcedure, practice: Practice, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.nail, self.practice = nail, practice
        self.marked = {mark.kind for mark in nail.marks.all() if not mark.taken_back_at}
        if room.MarkKind.TOURNIQUET_ON in self.marked:
            del self.fields["on_at"], self.fields["off_at"]  # tapped times are corrected where they were tapped
        if not words.Technique(nail.technique).takes_agent:
            for name in ("agent_batch", "agent_expires_on", "skin_protected", "dry_field", "lavage_ml"):
                del self.fields[name]
        self.fields_of_day = nail.operation.performed_on

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        for name, moment in (("on_at", self.put_on_at), ("off_at", self.taken_off_at)):
            try:
                moment(answers)
            except forms.ValidationError as problem:
                self.add_error(name, problem)
        used = answers.get("tourniquet") in TOURNIQUET_USED
        if used:
            self.check_times(answers)
            self.check_sight(answers)
        elif answers.get("tourniquet"):
            self.check_unused(answers)
        return answers

    def check_unused(self, answers: dict[str, Any]) -> None:
        """Nothing about a tourniquet may stand beside the answer that there was none, or that it is not known."""
        said = words.Tourniquet(answers["tourniquet"])
        if self.put_on_at(answers) or self.taken_off_at(answers):
            self.add_error("tourniquet", f"Times of a tourniquet are on record, but “{said.label}” is chosen")
        seen = answers.get("witnessed") in {words.Answer.YES, words.Answer.NO} or answers.get("removal_seen_by")
        if said == words.Tourniquet.NONE and seen:
            self.add_error("witnessed", "This is answered, but no tourniquet was used; clear one of the two")

    def check_times(self, answers: dict[str, Any]) -> None:
        on_at, off_at = self.put_on_at(answers), self.taken_off_at(answers)
        if self.nail.operation.signed_at and on_at and not off_at:
            place = "off_at" if "off_at" in self.fields else "tourniquet"
            self.add_error(place, "The operation is signed, so the tourniquet must keep its time off")
        if on_at and off_at and "off_at" in self.fields and off_at < on_at:
            self.add_error("off_at", f"Tourniquet off must be after on ({timezone.localtime(on_at):%H:%M})")
        elif off_at and not on_at and "on_at" in self.fields:
            self.add_error("on_at", "Enter when the tourniquet was put on")

    def check_sight(self, answers: dict[str, Any]) -> None:
        if not answers.get("witnessed"):
            self.add_error("witnessed", "Choose whether two people saw the tourniquet off")
        elif answers["witnessed"] == words.Answer.YES and not answers.get("removal_seen_by"):
            self.add_error("removal_seen_by", "Enter who else saw it off; alone, write “patient” or “carer”")
        if not answers.get("toe_colour"):
            self.add_error("toe_colour", "Choose the colour of the toe after the tourniquet was off")

    def put_on_at(self, answers: dict[str, Any]) -> datetime | None:
        return self.nail.tourniquet_on_at if "on_at" not in self.fields else self.moment(answers.get("on_at"))

    def taken_off_at(self, answers: dict[str, Any]) -> datetime | None:
        if "off_at" not in self.fields:
            return self.nail.tourniquet_off_at
        off, on = answers.get("off_at"), answers.get("on_at")
        over_midnight = bool(off and on and off < on and past_midnight(on, off))
        return self.moment(off, days=1 if over_midnight else 0)

    def moment(self, clock: Any, *, days: int = 0) -> datetime | None:
        if clock is None:
            return None
        return instant_of(self.fields_of_day + timedelta(days=days), clock)

    def unusual(self) -> Iterator[str]:
        place, answers = capital(toe_name(self.nail.foot, self.nail.toe)), self.cleaned_data
        on_at, off_at = self.put_on_at(answers), self.taken_off_at(answers)
        lasted = tourniquet_time(self.practice, off_at - on_at) if on_at and off_at else None
        if lasted and lasted.level == TourniquetLevel.ALARM:
            yield f"{place}: the tourniquet was on for {lasted.said}"
        if answers.get("tourniquet") == words.Tourniquet.GLOVE_FINGER:
            yield f"{place}: a glove finger was used as tourniquet; see local protocol"
        expires_on = answers.get("agent_expires_on")
        if expires_on and expires_on < self.fields_of_day:
            yield f"{place}: this batch of the agent expired in {expires_on:%B %Y}"
        yield from (f"{place}, {text}" for text in self.tapped_exposures())

    def tapped_exposures(self) -> Iterator[str]:
        """Notes about exposures that were timed in the room; typed ones were confirmed where they were typed."""
        timed = {mark.treated_side_id for mark in self.nail.marks.all() if not mark.taken_back_at}
        for treated in self.nail.treated_sides.all():
            seconds = treated.exposure_seconds if treated.pk in timed else None
            if seconds and (note := exposure_note(self.practice, seconds)):
                yield f"{part_name(treated.side)}: {note}"

    def values(self) -> dict[str, Any]:
        """Columns of the nail procedure."""
        answers = dict(self.cleaned_data)
        answers.pop("on_at", None), answers.pop("off_at", None)
        answers["tourniquet_removal_witnessed"] = answers.pop("witnessed") or words.Answer.NOT_RECORDED
        for name, empty in EMPTY.items():
            if name in answers and not answers[name]:
                answers[name] = empty
        if "on_at" in self.fields:
            used = answers["tourniquet"] in TOURNIQUET_USED
            answers["tourniquet_on_at"] = self.put_on_at(self.cleaned_data) if used else None
            answers["tourniquet_off_at"] = self.taken_off_at(self.cleaned_data) if used else None
        return answers


EMPTY: dict[str, Term] = {
    "toe_colour": room.ToeColour.NOT_RECORDED,
    "skin_protected": words.Answer.NOT_RECORDED,
    "dry_field": words.Answer.NOT_RECORDED,
}


def past_midnight(on: time, off: time) -> bool:
    """Whether `off`, earlier on the clock than `on`, can be the next day's rather than a slip of the pen."""
    day = date(2000, 1, 1)
    return datetime.combine(day + timedelta(days=1), off) - datetime.combine(day, on) <= LONGEST_OVER_MIDNIGHT


class EndForm(forms.Form):
    """The end of the attendance."""

    dressing = choice("Dressing", room.Dressing, "Choose the dressing", columns=3)
    outer_dressing = choice("Outer dressing", room.OuterDressing, "Choose the outer dressing", columns=3)
    aftercare = choice("Aftercare", room.Aftercare, "Choose how aftercare was given", columns=3)
    aftercare_sheet = forms.CharField(
        label="Aftercare sheet",
        max_length=60,
        required=False,
        help_text="Its name and version.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    weight_kg = NumberField(
        label="Weight", label_for_errors="Weight", unit="kg", min_value=5, max_value=300, required=False
    )


def is_untouched(operation: Operation, nails: Iterable[NailProcedure]) -> bool:
    """Whether nothing of the end is on record yet, so that a template may fill it in."""
    end = (operation.signed_at, operation.aftercare_sheet, *(getattr(operation, name) for name in AT_END[:3]))
    toes = [getattr(nail, name) for nail in nails for name in (*AT_TOE_END, "block_result", "histology_sent")]
    return not any(value and value != words.Answer.NOT_RECORDED for value in (*end, *toes))


class End:
    """All forms of the closing page, cleaned together."""

    def __init__(
        self, operation: Operation, nails: Sequence[NailProcedure], data: Any, initial: dict[str, Any]
    ) -> None:
        self.operation, self.data, self.practice = operation, data, operation.practice
        self.template = operation.template if is_untouched(operation, nails) else None
        self.form = EndForm(data, prefix="end", initial=self.filled(initial.get("end"), AT_END))
        offer(self.form, "dressing", self.practice, "dressings_offered", stored=operation.dressing)
        self.toes = [
            ToeEndForm(data, prefix=f"toe{nail.key}", initial=self.at_toe(nail, initial), nail=nail,
                       practice=self.practice)
            for nail in nails
        ]  # fmt: skip
        parts = [(self.form, AT_END), *((form, AT_TOE_END) for form in self.toes if self.is_of_template(form.nail))]
        self.started = FromTemplate(self.template, self.practice, parts, tick=TICK, data=data)
        self.confirm = ConfirmForm(data, prefix="confirm")
        self.warnings: list[str] = []

    def filled(self, answers: Mapping[str, Any] | None, names: Iterable[str]) -> dict[str, Any]:
        """What is on record, and where nothing is, what the template says."""
        offered = answers_from(self.template, names, self.practice) if self.template else {}
        return offered | {name: value for name, value in (answers or {}).items() if value not in {None, ""}}

    def at_toe(self, nail: NailProcedure, initial: Mapping[str, Any]) -> dict[str, Any]:
        return self.filled(initial.get(nail.key), AT_TOE_END if self.is_of_template(nail) else ())

    def is_of_template(self, nail: NailProcedure) -> bool:
        return bool(self.template and nail.technique == self.template.technique)

    def parts(self) -> list[forms.Form]:
        return [self.form, *self.toes, self.started.form, self.confirm]

    def is_valid(self) -> bool:
        valid = all([form.is_valid() for form in self.parts()])
        self.started.settle()
        valid = valid and not self.started.form.errors
        if valid:
            self.warnings = [sentence for form in self.toes for sentence in form.unusual()]
            dressing = {self.form.cleaned_data["dressing"]} - {self.operation.dressing}
            self.warnings += not_used(self.practice, "dressings_offered", dressing)
            valid = self.confirm.settles(self.warnings)
        return valid

    def errors(self) -> Iterator[tuple[str, str]]:
        for form in self.parts() if self.data is not None else ():
            place = (
                f"{capital(toe_name(form.nail.foot, form.nail.toe))}: "
                if len(self.toes) > 1 and hasattr(form, "nail")
                else ""
            )
            for bound in form:
                yield from ((bound.id_for_label or f"{bound.auto_id}_0", f"{place}{text}") for text in bound.errors)

    def differences(self, stored: dict[str, Any]) -> list[Difference]:
        """Where the typed answers are not the stored ones, in words. stored: as the page's answers, by form."""
        forms_of = [("end", self.form), *((form.nail.key, form) for form in self.toes)]
        return [
            Difference(str(bound.label), said(bound, before), said(bound, now))
            for name, form in forms_of
            for bound in form
            if (before := text_of(stored[name].get(bound.name))) != (now := text_of(bound.data))
        ]

    @property
    def reason(self) -> str:
        return self.confirm.reason_for(self.warnings)


def end_answers(operation: Operation, nails: list[NailProcedure]) -> dict[str, Any]:
    """What is stored, as the answers of the page; a choice nobody made yet stays open."""
    answers: dict[str, Any] = {
        "end": {name: chosen(getattr(operation, name)) for name in ("dressing", "outer_dressing", "aftercare")}
        | {"weight_kg": operation.weight_kg, "aftercare_sheet": operation.aftercare_sheet}
    }
    for nail in nails:
        names = (
            "tourniquet",
            "toe_colour",
            "block_result",
            "skin_protected",
            "dry_field",
            "haemostasis",
            "histology_sent",
        )
        plain = ("removal_seen_by", "capillary_refill_seconds", "agent_batch", "agent_expires_on", "lavage_ml")
        answers[nail.key] = {name: chosen(getattr(nail, name)) for name in names}
        answers[nail.key] |= {name: getattr(nail, name) for name in plain}
        answers[nail.key] |= {
            "witnessed": chosen(nail.tourniquet_removal_witnessed),
            "on_at": clock(nail.tourniquet_on_at), "off_at": clock(nail.tourniquet_off_at),
        }  # fmt: skip
    return answers


def chosen(code: str) -> str | None:
    return None if code == words.Answer.NOT_RECORDED else code


def clock(at: datetime | None) -> Any:
    return timezone.localtime(at).time().replace(microsecond=0) if at else None
