"""The operation page: one form for the attendance, one per toe, one to confirm what is unusual.

Nothing clinical is filled in. Answers that contradict each other are refused with their own sentence; unusual
ones are saved after a tick and a reason.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet

from clinic.access.forms import Difference
from clinic.access.models import Member
from clinic.access.numbers import DayField, NumberField, WholeNumberField, plain
from clinic.access.once import OneTimeForm
from clinic.access.rules import Action, roles_that_may
from clinic.patients.changes import say_day
from clinic.patients.forms import AskedWhenNeeded
from clinic.procedures.models import NailProcedure, Operation, TreatedSide
from clinic.procedures.recording import OperationValues, SideValues, ToeValues
from clinic.procedures.words import (
    BOTH,
    PARTS,
    SITES,
    capital,
    landmark,
    part_name,
    part_of,
    sides_of,
    site_name,
    toe_name,
)
from clinic.vocabulary import procedure as words
from clinic.vocabulary.terms import Term

MOST_TOES = 4
ROWS = 4
OTHER_DAY = "another"
CHILD_UNDER = 16
SHORTEST_USUAL, LONGEST_USUAL = 10, 90
LEAST_USUAL_PHENOL = 10
REASON_LENGTH = 100  # what the history keeps
NOT_RECORDED = "not_recorded"
EACH, TOTAL, TIMED = "each", "total", "timed"
EXPOSURES = [
    (TIMED, "Will be timed in the room"),
    (EACH, "Each application"),
    (TOTAL, "Only the total"),
    (NOT_RECORDED, "Not recorded"),
]
UNKNOWN = {NOT_RECORDED, TIMED}
BASES = (words.StrengthBasis.W_W, words.StrengthBasis.W_V, words.StrengthBasis.NOT_RECORDED)
REAL_AGENTS = tuple(agent for agent in words.Agent if agent not in {words.Agent.NONE, words.Agent.NOT_RECORDED})
ASKS_MATRIX = tuple(technique.value for technique in words.Technique if technique.destroys_matrix is None)
QUESTIONS = {"toe": "Toe", "side": "Part of the nail"}
CHEMICAL = tuple(technique.value for technique in words.Technique if technique.takes_agent)


def buttons(*, opens: Iterable[str] = (), columns: int = 0) -> forms.RadioSelect:
    """Choice buttons; the answers in `opens` show the questions that depend on them."""
    made = forms.RadioSelect()
    made.opens, made.columns = tuple(opens), columns
    return made


def choice(label: str, terms: Iterable[Term], missing: str, **options: Any) -> forms.ChoiceField:
    widget = buttons(opens=options.pop("opens", ()), columns=options.pop("columns", 0))
    return forms.ChoiceField(
        label=label,
        choices=[(term.value, term.label) for term in terms],
        widget=widget,
        error_messages={"required": missing, "invalid_choice": missing},
        **options,
    )


class PartSelect(forms.RadioSelect):
    """Keeps everything that was sent: two radios of one name can only come from a broken page."""

    def value_from_datadict(self, data: Any, files: Any, name: str) -> Any:
        values = data.getlist(name) if hasattr(data, "getlist") else [data.get(name)]
        return values if len(values) > 1 else next(iter(values), None)


class PartField(forms.ChoiceField):
    widget = PartSelect

    def to_python(self, value: Any) -> str:
        if isinstance(value, list):
            chosen = set(value)
            if words.NailSide.WHOLE in chosen and len(chosen) > 1:
                raise ValidationError("The whole nail and a single side cannot both be treated; choose one")
            value = next(iter(chosen)) if len(chosen) == 1 else BOTH
        return super().to_python(value)


def seconds_field(number: int, side: str) -> WholeNumberField:
    return WholeNumberField(
        label=f"{number}",
        label_for_errors=f"Seconds of application {number}{side}",
        unit="s",
        min_value=1,
        max_value=600,
    )


def total_field(label: str) -> WholeNumberField:
    return WholeNumberField(label=label, label_for_errors="Total seconds", unit="s", min_value=1, max_value=3600)


def longest(nail: NailProcedure | None) -> int:
    """The most applications stored for a side; a correction must show all of them."""
    sides = nail.treated_sides.all() if nail else ()
    return max((len(treated.applications.all()) for treated in sides), default=0)


def stage_choices() -> list[Any]:
    groups = [
        (system.label, [(f"{system.value}:{stage}", f"{system.label} {stage}") for stage in stages])
        for system, stages in words.STAGES.items()
        if system != words.StageSystem.NONE
    ]
    return [("", "Choose a stage"), (f"{words.StageSystem.NONE.value}:", words.StageSystem.NONE.label), *groups]


class VisitForm(AskedWhenNeeded, forms.Form):
    """The attendance: when, who operated, who consented."""

    when = forms.CharField(
        label="Date of the operation",
        widget=buttons(opens=(OTHER_DAY,), columns=3),
    )
    performed_on = DayField(
        label="Which day",
        label_for_errors="the operation date",
        question="When was the operation?",
    )
    operator = forms.ModelChoiceField(
        label="Operator",
        queryset=Member.objects.none(),
        to_field_name="key",
        empty_label="Choose who operated",
        error_messages={
            "required": "Choose who operated",
            "invalid_choice": "Choose an operator of this practice who may operate",
        },
    )
    consent_given_by = choice(
        "Consent given by", words.ConsentGiver, "Choose who gave consent, or “Not recorded”", columns=4
    )
    note = forms.CharField(
        label="Note",
        max_length=1850,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"max_length": "The note may have at most 1850 characters"},
    )
    asked_when_needed = ("when", "performed_on")

    def __init__(
        self, *args, member: Member, born_on: date, today: date, operation: Operation | None = None, **kwargs
    ) -> None:
        super().__init__(*args, **kwargs)
        self.born_on, self.today = born_on, today
        self.fields["performed_on"].today = today
        self.fields["operator"].queryset = operators_of(member, stored=operation.operator_id if operation else None)
        self.fields["when"].widget.choices = self.days()

    def days(self) -> list[tuple[str, str]]:
        """The days stand as dates in the answers, so that a draft opened tomorrow still means the same day."""
        yesterday = self.today - timedelta(days=1)
        near = [("Today", self.today), ("Yesterday", yesterday)]
        return [*((day.isoformat(), f"{name}, {day.day} {day:%b}") for name, day in near), (OTHER_DAY, "Another day")]

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        self.settle_day(answers)
        day = answers.get("performed_on")
        if day and day < self.born_on:
            self.add_error("performed_on", "The operation date lies before the patient was born; check it")
        elif day:
            self.check_child(answers, day)
        return answers

    def settle_day(self, answers: dict[str, Any]) -> None:
        """One date from the quick choice and the date field."""
        when, typed = answers.get("when"), answers.get("performed_on")
        if "performed_on" in self.errors:
            return
        if when in dict(self.days()) and when != OTHER_DAY:
            answers["performed_on"] = date.fromisoformat(when)
        elif typed is None:
            asked = "performed_on" if when == OTHER_DAY else "when"
            self.add_error(asked, "When was the operation? Give day, month and year")

    def check_child(self, answers: dict[str, Any], day: date) -> None:
        giver, note = answers.get("consent_given_by"), answers.get("note")
        born = self.born_on
        age = day.year - born.year - ((day.month, day.day) < (born.month, born.day))
        if giver == words.ConsentGiver.OTHER and not note:
            self.add_error("note", "Note who gave consent and with what authority")
        elif giver == words.ConsentGiver.PATIENT and age < CHILD_UNDER and not note:
            self.add_error("note", f"The patient was {age} on that day. Note how consent was settled")


def operators_of(member: Member, *, stored: int | None = None) -> QuerySet[Member]:
    """People of the member's practice who may operate.

    stored: who operated, in a correction; they did so even if they have since left or changed their role.
    """
    may = roles_that_may(Action.RECORD_OPERATION)
    today = Q(practice_id=member.practice_id, is_active=True, role__in=may)
    people = Member.objects.filter(today | Q(pk=stored) if stored else today)
    return people.order_by("last_name", "first_name", "username")


class ToeForm(AskedWhenNeeded, forms.Form):
    """What was done to one toe."""

    toe = forms.ChoiceField(
        label="Which toe?",
        choices=SITES,
        widget=forms.RadioSelect,
        help_text="As you see the feet from the foot of the chair.",
        error_messages={"required": "Choose the toe", "invalid_choice": "Choose the toe"},
    )
    side = PartField(
        label="Which part of the nail?",
        choices=PARTS,
        help_text="The coloured part is what was taken.",
        error_messages={
            "required": "Choose which part of the nail",
            "invalid_choice": "Choose which part of the nail",
        },
    )
    technique = choice("Technique", words.Technique, "Choose the technique", columns=2)
    matrix_destroyed = forms.ChoiceField(
        label="Was the matrix destroyed?",
        choices=[("yes", "Yes"), ("no", "No")],
        widget=buttons(columns=2),
        error_messages={"invalid_choice": "Choose whether the matrix was destroyed"},
    )
    agent = choice("Agent", words.Agent, "Choose the agent from the list", columns=3)
    strength_percent = NumberField(label="Strength", label_for_errors="Strength", unit="%", min_value=1, max_value=100)
    strength_basis = choice("Strength given as", BASES, "Choose the basis from the list")
    exposure = forms.ChoiceField(
        label="What is known of the exposure",
        choices=EXPOSURES,
        widget=buttons(columns=2),
        error_messages={"invalid_choice": "Choose what is known of the exposure"},
    )
    same = forms.BooleanField(label="The same at both sides")
    total_seconds = total_field("Total")
    total_fibular = total_field("Total at the fibular (lateral) side")
    curettage = choice("Curettage", words.Curettage, "Choose from the list", required=False, columns=4)
    lavage = choice("Lavage", words.Lavage, "Choose from the list", required=False, columns=3)
    infection_before = choice(
        "Infection before the operation",
        words.LocalInfection,
        "Choose whether there was infection before, or “Not assessed”",
        columns=3,
    )
    prior_surgery = choice(
        "Earlier surgery on the same side",
        (words.Answer.YES, words.Answer.NO, words.Answer.NOT_ASSESSED, words.Answer.NOT_RECORDED),
        "Choose whether there was earlier surgery on the same side, or “Not assessed”",
        columns=4,
    )
    stage = forms.ChoiceField(
        label="Stage before the operation",
        choices=stage_choices,
        required=False,
        error_messages={"invalid_choice": "Choose a stage from the list"},
    )

    def __init__(self, *args, nail: NailProcedure | None = None, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.nail = nail
        if nail is not None:  # what is timed is on record by now
            self.fields["exposure"].choices = [pair for pair in EXPOSURES if pair[0] != TIMED]
        self.rows = range(1, max(ROWS, longest(nail)) + 1)
        for number in self.rows:
            self.fields[f"seconds_{number}"] = seconds_field(number, "")
            self.fields[f"fibular_{number}"] = seconds_field(number, " at the fibular side")
        plain_names = ("matrix_destroyed", "agent", "strength_percent", "strength_basis", "exposure")
        self.asked_when_needed = (*plain_names, "same", "total_seconds", "total_fibular", *self.second_names())

    # --- what the page shows

    def seconds_row(self) -> list[forms.BoundField]:
        return [self[f"seconds_{number}"] for number in self.rows]

    def fibular_row(self) -> list[forms.BoundField]:
        return [self[f"fibular_{number}"] for number in self.rows]

    def read_back(self) -> dict[str, Any] | None:
        """The site in words, once toe and part are chosen."""
        toe, part = self["toe"].value(), self["side"].value()
        if str(toe) not in dict(SITES) or str(part) not in dict(PARTS):
            return None
        foot, number = str(toe).split("-")
        name = capital(site_name(foot, int(number), part))
        return {"foot": foot, "part": part, "site": name, "landmark": landmark(part, int(number))}

    # --- what the server checks

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if answers.get("technique"):
            technique = words.Technique(answers["technique"])
            self.check_part(technique, answers.get("side"))
            self.check_matrix(technique, answers)
            self.check_agent(technique, answers)
            if technique.takes_agent:
                self.check_strength(answers)
                if not self.leaves_exposure(answers):
                    self.check_exposure(answers)
        return answers

    def check_part(self, technique: words.Technique, part: str | None) -> None:
        whole = part == words.NailSide.WHOLE
        if part and technique.fits_whole_nail is True and not whole:
            self.add_error("side", f"“{technique.label}” treats the whole nail; choose it, or another technique")
        if whole and technique.fits_whole_nail is False:
            self.add_error("side", f"“{technique.label}” treats a side, not the whole nail; choose the side")

    def check_matrix(self, technique: words.Technique, answers: dict[str, Any]) -> None:
        if technique.destroys_matrix is None and not answers.get("matrix_destroyed"):
            self.add_error("matrix_destroyed", "Choose whether the matrix was destroyed")

    def check_agent(self, technique: words.Technique, answers: dict[str, Any]) -> None:
        agent = answers.get("agent")
        if technique.takes_agent and agent in {None, "", words.Agent.NONE} and "agent" not in self.errors:
            self.add_error("agent", f"“{technique.label}” uses an agent; choose which one")
        if not technique.takes_agent and agent not in {None, "", words.Agent.NONE}:
            self.add_error("agent", f"“{technique.label}” takes no agent; choose “None”, or another technique")
        elif not technique.takes_agent and self.typed_numbers(answers):
            self.add_error(
                "agent", f"“{technique.label}” takes no agent, but a strength or seconds are typed; clear them"
            )

    def typed_numbers(self, answers: Mapping[str, Any]) -> list[str]:
        names = ["strength_percent", "total_seconds", "total_fibular", *self.second_names()]
        return [name for name in names if answers.get(name) is not None or name in self.errors]

    def second_names(self) -> list[str]:
        return [f"{row}_{number}" for row in ("seconds", "fibular") for number in self.rows]

    def check_strength(self, answers: dict[str, Any]) -> None:
        basis, strength = answers.get("strength_basis"), answers.get("strength_percent")
        if "strength_percent" in self.errors or answers.get("agent") not in REAL_AGENTS:
            return
        if strength is None and basis != NOT_RECORDED:
            self.add_error("strength_percent", "Enter the strength, like 80, or choose “Basis not recorded” beside it")
        elif not basis:
            self.add_error("strength_basis", "Choose what the strength is a percentage of, or “Basis not recorded”")

    def leaves_exposure(self, answers: Mapping[str, Any]) -> bool:
        """Whether a correction shows the exposure as it is stored.

        It may be stored as nobody could enter it here, say at one of two sides only; that must not stand in the way
        of correcting something else, nor be lost by it.
        """
        if self.nail is None or answers.get("side") != part_of(self.nail.sides):
            return False
        stored = exposure_answers(self.nail)
        names = ("exposure", "same", "total_seconds", "total_fibular", *self.second_names())
        return all(text_of(answers.get(name)) == text_of(stored.get(name)) for name in names)

    def check_exposure(self, answers: dict[str, Any]) -> None:
        each = [name for name in self.second_names() if answers.get(name) is not None or name in self.errors]
        total = [name for name in ("total_seconds", "total_fibular") if answers.get(name) is not None]
        known = answers.get("exposure")
        if not known:
            self.add_error("exposure", "Choose what is known of the exposure, or “Not recorded”")
        elif known == EACH and total:
            self.add_error(total[0], "A total is typed, but “Each application” is chosen; clear one of them")
        elif known == TOTAL and each:
            self.add_error(each[0], "Single applications are typed, but “Only the total” is chosen; clear one of them")
        elif known in UNKNOWN and (each or total):
            self.add_error(
                "exposure", f"Seconds are typed, but “{dict(EXPOSURES)[known]}” is chosen; clear one of them"
            )
        elif known not in UNKNOWN and not any(name in self.errors for name in [*self.second_names(), "total_seconds"]):
            self.check_seconds_are_there(known, answers)

    def check_seconds_are_there(self, known: str, answers: dict[str, Any]) -> None:
        first, second = ("seconds_1", "fibular_1") if known == EACH else ("total_seconds", "total_fibular")
        what = "the seconds of each application" if known == EACH else "the total seconds"
        if not self.given(known, "seconds", answers):
            self.add_error(first, f"Enter {what}, like 60, or choose “Not recorded”")
        both = answers.get("side") == BOTH
        has_second = self.given(known, "fibular", answers)
        if both and not answers.get("same") and not has_second and second not in self.errors:
            self.add_error(second, f"Enter {what} at the fibular side, or tick “The same at both sides”")
        if has_second and (not both or answers.get("same")):
            why = "“The same at both sides” is ticked" if both else "only one part was treated"
            self.add_error(second, f"Seconds of the fibular side are typed, but {why}; clear one of them")

    def given(self, known: str, row: str, answers: Mapping[str, Any]) -> tuple[int, ...]:
        """Seconds of a row, in their order, or its total."""
        names = [f"{row}_{number}" for number in self.rows]
        if known == TOTAL:
            names = ["total_seconds" if row == "seconds" else "total_fibular"]
        return tuple(answers[name] for name in names if answers.get(name) is not None)

    # --- what is stored

    @property
    def site(self) -> tuple[str, int]:
        foot, toe = self.cleaned_data["toe"].split("-")
        return foot, int(toe)

    def exposures(self) -> dict[str, tuple[int, ...]]:
        """Seconds of each treated side; empty where nothing was recorded or no agent was used."""
        answers = self.cleaned_data
        known = answers["exposure"]
        sides = sides_of(answers["side"])
        if not words.Technique(answers["technique"]).takes_agent or known in UNKNOWN:
            return dict.fromkeys(sides, ())
        first = self.given(known, "seconds", answers)
        second = first if answers["same"] else self.given(known, "fibular", answers)
        return dict(zip(sides, (first, second), strict=False))

    def values(self, earlier: Sequence[TreatedSide]) -> ToeValues:
        """earlier: sides treated before, newest first; one of them is revised if there was earlier surgery."""
        total = self.cleaned_data["exposure"] == TOTAL
        prior = self.cleaned_data["prior_surgery"] == words.Answer.YES
        revised = self.revised(earlier) if prior else {}
        takes_agent = words.Technique(self.cleaned_data["technique"]).takes_agent
        keeps_exposure = takes_agent and self.leaves_exposure(self.cleaned_data)
        sides = {
            side: SideValues(
                seconds=() if total else seconds,
                stated_seconds=seconds[0] if total and seconds else None,
                revises=revised.get(side),
                keeps_revised=prior,
                keeps_exposure=keeps_exposure,
            )
            for side, seconds in self.exposures().items()
        }
        return ToeValues(fields=self.columns(), sides=sides)

    def revised(self, earlier: Sequence[TreatedSide]) -> dict[str, TreatedSide]:
        """For each treated side the latest earlier operation on it; a whole nail overlaps both sides."""
        found: dict[str, TreatedSide] = {}
        for treated in earlier:
            nail = treated.nail_procedure
            for side in sides_of(self.cleaned_data["side"]) if (nail.foot, nail.toe) == self.site else ():
                if side == treated.side or words.NailSide.WHOLE in {side, treated.side}:
                    found.setdefault(side, treated)
        return found

    def columns(self) -> dict[str, Any]:
        answers, (foot, toe) = self.cleaned_data, self.site
        technique = words.Technique(answers["technique"])
        decided = technique.destroys_matrix
        system, _, stage = (answers["stage"] or f"{words.StageSystem.NONE.value}:").partition(":")
        return {
            "foot": foot,
            "toe": toe,
            "technique": technique.value,
            "matrix_destroyed": answers["matrix_destroyed"] == "yes" if decided is None else decided,
            "curettage": answers["curettage"] or words.Curettage.NOT_RECORDED.value,
            "infection_before": answers["infection_before"],
            "prior_surgery_same_side": answers["prior_surgery"],
            "stage_system": system,
            "stage": stage,
            **self.agent_columns(technique),
        }

    def agent_columns(self, technique: words.Technique) -> dict[str, Any]:
        answers = self.cleaned_data
        if not technique.takes_agent:
            return {
                "agent": words.Agent.NONE.value,
                "strength_percent": None,
                "strength_basis": words.StrengthBasis.NOT_APPLICABLE.value,
                "lavage": words.Lavage.NOT_RECORDED.value,
            }
        return {
            "agent": answers["agent"],
            "strength_percent": answers["strength_percent"],
            "strength_basis": answers["strength_basis"] or words.StrengthBasis.NOT_RECORDED.value,
            "lavage": answers["lavage"] or words.Lavage.NOT_RECORDED.value,
        }


class OnceForm(OneTimeForm, forms.Form):
    """The one-time token of a page that makes a record."""


class ConfirmForm(AskedWhenNeeded, forms.Form):
    """Possible but unusual answers are saved after a tick and a reason."""

    confirmed = forms.BooleanField(label="This is correct")
    confirm_reason = forms.CharField(label="Reason", max_length=REASON_LENGTH)
    asked_when_needed = ("confirmed", "confirm_reason")


class ReasonForm(forms.Form):
    reason = forms.CharField(
        label="Reason for the correction",
        max_length=REASON_LENGTH,
        error_messages={"required": "Give the reason for the correction"},
    )


class StrikeForm(forms.Form):
    reason = forms.CharField(
        label="Reason",
        max_length=REASON_LENGTH,
        error_messages={"required": "Give the reason for striking out this operation"},
    )


class OperationEntry:
    """All forms of one operation page, cleaned together; `warnings` need a tick and a reason before saving.

    earlier: sides treated before at this patient, newest first, with their toe and operation fetched.
    operation: the one being corrected, with its toes fetched.
    """

    def __init__(
        self,
        *,
        member: Member,
        born_on: date,
        today: date,
        earlier: Sequence[TreatedSide],
        data: Mapping[str, Any] | None = None,
        initial: Mapping[str, Any] | None = None,
        operation: Operation | None = None,
    ) -> None:
        self.member, self.earlier, self.data, self.operation = member, earlier, data, operation
        self.initial = dict(initial or {})
        nails = nails_in_order(operation) if operation else [None] * count_of(self.initial if data is None else data)
        self.visit = VisitForm(
            data,
            prefix="visit",
            initial=self.under("visit"),
            member=member,
            born_on=born_on,
            today=today,
            operation=operation,
        )
        self.toes = [
            ToeForm(data, prefix=f"toe{number}", initial=self.under(f"toe{number}"), nail=nail)
            for number, nail in enumerate(nails, start=1)
        ]
        self.confirm = ConfirmForm(data, prefix="confirm", initial=self.under("confirm"))
        self.why = [ReasonForm(data)] if operation else []
        self.once = [] if operation else [OnceForm(data)]
        self.warnings: list[str] = []
        self.conflict = False

    def under(self, prefix: str) -> dict[str, Any]:
        start = f"{prefix}-"
        return {name[len(start) :]: value for name, value in self.initial.items() if name.startswith(start)}

    def parts(self) -> list[forms.Form]:
        return [*self.once, self.visit, *self.toes, *self.why, self.confirm]

    @property
    def is_timed(self) -> bool:
        """Whether it goes on in the room, where the applications are tapped."""
        return any(form.cleaned_data.get("exposure") == TIMED for form in self.toes)

    @property
    def may_add(self) -> bool:
        return self.operation is None and len(self.toes) < MOST_TOES

    @property
    def reason_form(self) -> ReasonForm | None:
        return self.why[0] if self.why else None

    def is_valid(self) -> bool:
        valid = all([form.is_valid() for form in self.parts()])
        self.refuse_same_toe_twice()
        self.refuse_toe_of_that_day()
        valid = valid and not any(form.errors for form in self.parts())
        if valid:
            self.warnings = list(dict.fromkeys(self.unusual()))
            valid = not self.warnings or self.confirmed()
        return valid

    def errors(self) -> Iterator[tuple[str, str]]:
        """Pairs of the answer's id and the text, in the order of the page."""
        for form in self.parts() if self.data is not None else ():
            for bound in form:
                anchor = bound.id_for_label or f"{bound.auto_id}_0"
                yield from ((anchor, f"{self.number_of(form)}{text}") for text in bound.errors)

    def number_of(self, form: forms.Form) -> str:
        """Which toe a sentence is about, where there are several."""
        return f"Toe {self.toes.index(form) + 1}: " if form in self.toes and len(self.toes) > 1 else ""

    def differences(self, stored: Mapping[str, Any]) -> list[Difference]:
        """Where the typed answers are not the stored ones, in words."""
        return [
            Difference(self.question_of(form, bound), said(bound, before), said(bound, now))
            for form in [self.visit, *self.toes]
            for bound in form
            if (before := text_of(stored.get(bound.html_name))) != (now := text_of(bound.data))
        ]

    def question_of(self, form: forms.Form, bound: forms.BoundField) -> str:
        """The words of a question, with the number of the toe where there are several."""
        label = QUESTIONS.get(bound.name) or str(bound.label)
        if bound.name.startswith(("seconds_", "fibular_")):
            label = f"Application {bound.label}{', fibular side' if bound.name.startswith('f') else ''}"
        return f"{self.number_of(form)}{label}"

    def refuse_same_toe_twice(self) -> None:
        seen: set[str] = set()
        for form in self.toes:
            toe = form.cleaned_data.get("toe")
            if toe in seen:
                name = toe_name(*form.site)
                form.add_error("toe", f"The {name} is entered twice; put both sides into one entry")
            elif toe:
                seen.add(toe)

    def refuse_toe_of_that_day(self) -> None:
        day = self.visit.cleaned_data.get("performed_on")
        taken = {
            (treated.nail_procedure.foot, treated.nail_procedure.toe)
            for treated in self.earlier
            if treated.nail_procedure.operation.performed_on == day
        }
        for form in self.toes:
            if form.cleaned_data.get("toe") and form.site in taken:
                form.add_error(
                    "toe",
                    f"An operation on the {toe_name(*form.site)} on {say_day(day)} is already recorded; "
                    "open that one to correct it",
                )

    def taken_by_now(self, earlier: Sequence[TreatedSide]) -> bool:
        """The look again inside the transaction."""
        self.earlier = earlier
        self.refuse_toe_of_that_day()
        return any(form.errors for form in self.toes)

    def confirmed(self) -> bool:
        given = self.confirm.cleaned_data
        if not given.get("confirmed"):
            self.confirm.add_error("confirmed", f"Tick that this is correct, or change the answer: {self.warnings[0]}")
        if not given.get("confirm_reason"):
            self.confirm.add_error("confirm_reason", "Give the reason")
        return not self.confirm.errors

    def unusual(self) -> Iterator[str]:
        for form in self.toes:
            name = capital(toe_name(*form.site))
            yield from (f"{name}: {text}" for text in unusual_strength(form.cleaned_data))
            for side, seconds in form.exposures().items():
                yield from (f"{name}, {part_name(side)}: {text}" for text in self.unusual_seconds(form, seconds))
            yield from (f"{name}, {text}" for text in self.contradicted(form))

    def unusual_seconds(self, form: ToeForm, seconds: tuple[int, ...]) -> Iterator[str]:
        limit = self.member.practice.exposure_note_seconds
        if form.cleaned_data["exposure"] == EACH:
            for each in seconds:
                if not SHORTEST_USUAL <= each <= LONGEST_USUAL:
                    yield f"an application of {each} s is unusual ({SHORTEST_USUAL} to {LONGEST_USUAL} s is usual)"
        if sum(seconds) > limit:
            yield f"the total of {sum(seconds)} s is above {limit} s, from where this practice asks for a note"

    def contradicted(self, form: ToeForm) -> Iterator[str]:
        """Earlier surgery in our own record that the answer does not mention."""
        if form.cleaned_data["prior_surgery"] == words.Answer.YES:
            return
        day = self.visit.cleaned_data["performed_on"]
        before = [each for each in self.earlier if each.nail_procedure.operation.performed_on < day]
        for side, treated in form.revised(before).items():
            on = say_day(treated.nail_procedure.operation.performed_on)
            yield f"{part_name(side)}: our record holds an operation on {on}, but earlier surgery is not answered “Yes”"

    @property
    def confirm_reason(self) -> str:
        return self.confirm.cleaned_data.get("confirm_reason", "") if self.warnings else ""

    @property
    def reason(self) -> str:
        """For the history: why it is corrected, or why it is unusual."""
        return self.why[0].cleaned_data["reason"] if self.why else self.confirm_reason

    def values(self) -> OperationValues:
        visit = self.visit.cleaned_data
        fields = {name: visit[name] for name in ("performed_on", "operator", "consent_given_by")}
        fields["note"] = self.note()
        before = [each for each in self.earlier if each.nail_procedure.operation.performed_on < visit["performed_on"]]
        return OperationValues(fields=fields, toes=tuple(form.values(before) for form in self.toes))

    def note(self) -> str:
        """What was typed, and why unusual values are right; once, however often the operation is corrected."""
        typed = self.visit.cleaned_data["note"]
        why = f"Unusual, confirmed: {self.confirm_reason}" if self.confirm_reason else ""
        return typed if why in typed.splitlines() else "\n".join(filter(None, (typed, why)))

    def sites(self) -> str:
        """Foot, toe and part of every toe in words, for the sentence after saving."""
        return "; ".join(site_name(*form.site, form.cleaned_data["side"]) for form in self.toes)


def text_of(value: Any) -> str:
    return {True: "on", False: ""}.get(value, "") if value is None or isinstance(value, bool) else str(value).strip()


def said(bound: forms.BoundField, text: str) -> str:
    """A code or a date as people read it."""
    pairs = getattr(bound.field.widget, "choices", ())
    flat = [pair for code, label in pairs for pair in (label if isinstance(label, list) else [(code, label)])]
    words_of = {str(code): str(label) for code, label in flat} | {"on": "yes"}
    if text in words_of:
        return words_of[text]
    try:
        return say_day(date.fromisoformat(text))
    except ValueError:
        return text


def unusual_strength(answers: Mapping[str, Any]) -> Iterator[str]:
    strength = answers.get("strength_percent")
    if answers.get("agent") == words.Agent.PHENOL and strength is not None and strength < LEAST_USUAL_PHENOL:
        yield f"phenol of {plain(strength)}% is unusually weak"


def count_of(answers: Mapping[str, Any]) -> int:
    """How many toes the page holds; anything but a number from 1 to 4 is 1."""
    text = str(answers.get("toes", "1"))
    return int(text) if text in {str(number) for number in range(1, MOST_TOES + 1)} else 1


def nails_in_order(operation: Operation) -> list[NailProcedure]:
    return sorted(operation.nail_procedures.all(), key=lambda nail: nail.pk)


def without_toe(answers: Mapping[str, Any], number: int) -> dict[str, Any]:
    """The answers with one toe taken away; the toes behind it move up."""
    count = count_of(answers)
    if count == 1 or not 1 <= number <= count:
        return dict(answers)
    left: dict[str, Any] = {"toes": str(count - 1)}
    for name, value in answers.items():
        head, dash, rest = name.partition("-")
        place = int(head[3:]) if dash and head[:3] == "toe" and head[3:].isdecimal() else 0
        if place == 0 and name != "toes":
            left[name] = value
        elif place and place != number:
            left[f"toe{place - (place > number)}-{rest}"] = value
    return left


def answers_of(operation: Operation, today: date) -> dict[str, Any]:
    """A saved operation as the answers of the page, for correcting or undoing it."""
    day = operation.performed_on
    near = {today.isoformat(), (today - timedelta(days=1)).isoformat()}
    quick = day.isoformat() in near
    nails = nails_in_order(operation)
    answers: dict[str, Any] = {
        "toes": str(len(nails)),
        "visit-when": day.isoformat() if quick else OTHER_DAY,
        "visit-performed_on": "" if quick else day.isoformat(),
        "visit-operator": operation.operator.key,
        "visit-consent_given_by": operation.consent_given_by,
        "visit-note": operation.note,
    }
    for number, nail in enumerate(nails, start=1):
        answers |= {f"toe{number}-{name}": value for name, value in toe_answers(nail).items() if value is not None}
    return answers


def toe_answers(nail: NailProcedure) -> dict[str, Any]:
    system = words.StageSystem(nail.stage_system)
    return {
        "toe": f"{nail.foot}-{nail.toe}",
        "side": part_of(nail.sides),
        "technique": nail.technique,
        "matrix_destroyed": "yes" if nail.matrix_destroyed else "no",
        "agent": nail.agent,
        "strength_percent": None if nail.strength_percent is None else plain(nail.strength_percent),
        "strength_basis": nail.strength_basis,
        "curettage": nail.curettage,
        "lavage": nail.lavage,
        "infection_before": nail.infection_before,
        "prior_surgery": nail.prior_surgery_same_side,
        "stage": f"{system.value}:{nail.stage}",
        **exposure_answers(nail),
    }


def exposure_answers(nail: NailProcedure) -> dict[str, Any]:
    """What is stored of either side; a side without exposure leaves its fields empty."""
    rows = {
        treated.side: ([each.seconds for each in treated.applications.all()], treated.stated_exposure_seconds)
        for treated in nail.treated_sides.all()
    }
    first, *others = [rows[side] for side in nail.sides] or [([], None)]
    known = known_of([first, *others])
    answers: dict[str, Any] = {"exposure": known, **side_answers("seconds", *first)}
    if others and known != NOT_RECORDED:
        same = others[0] == first
        answers["same"] = "on" if same else None
        answers |= {} if same else side_answers("fibular", *others[0])
    return answers


def known_of(rows: Sequence[tuple[list[int], int | None]]) -> str:
    if any(seconds for seconds, _ in rows):
        return EACH
    return TOTAL if any(total for _, total in rows) else NOT_RECORDED


def side_answers(row: str, seconds: Sequence[int], total: int | None) -> dict[str, Any]:
    """Single applications say more than a total, which is shown only where there are none."""
    each = {f"{row}_{number}": value for number, value in enumerate(seconds, start=1)}
    return each or {"total_seconds" if row == "seconds" else "total_fibular": total}
