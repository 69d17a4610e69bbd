"""One toe as a form: where, how, with what, for how long; contradictions are refused with their own sentence."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from clinic.access.answers import AskedWhenNeeded, buttons, choice, text_of
from clinic.access.models import Practice
from clinic.access.numbers import NumberField
from clinic.practice.offers import offer, offer_stages
from clinic.procedures.answers import exposure_answers
from clinic.procedures.fields import (
    BASES,
    EACH,
    EXPOSURES,
    NOT_RECORDED,
    REAL_AGENTS,
    ROWS,
    TIMED,
    TOTAL,
    UNKNOWN,
    PartField,
    seconds_field,
    stage_choices,
    total_field,
)
from clinic.procedures.models import NailProcedure, TreatedSide
from clinic.procedures.recording import SideValues, ToeValues
from clinic.vocabulary import procedure as words
from clinic.vocabulary.sites import BOTH, SITES, NailPart, capital, landmark, part_of, sides_of, site_name, split_site

UNKNOWN_SIDES = {"unknown_tibial": "tibial", "unknown_fibular": "fibular"}


def longest(nail: NailProcedure | None) -> int:
    """The most applications stored for a side; a correction must show all of them."""
    sides = nail.treated_sides.all() if nail else ()
    return max((len(treated.applications.all()) for treated in sides), default=0)


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
        choices=NailPart.choices(),
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
    unknown_tibial = forms.BooleanField(label="Not recorded at the tibial (medial) side")
    unknown_fibular = forms.BooleanField(label="Not recorded at the fibular (lateral) side")
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
    site_outcome = choice("What was decided", words.SiteOutcome, "Choose what was decided")
    site_text = forms.CharField(label="Reason", max_length=500)
    stage = forms.ChoiceField(
        label="Stage before the operation",
        choices=stage_choices,
        required=False,
        error_messages={"invalid_choice": "Choose a stage from the list"},
    )

    def __init__(self, *args, practice: Practice, nail: NailProcedure | None = None, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.nail = nail
        self.differences: list[str] = []
        offer(self, "agent", practice, "agents_offered", stored=nail.agent if nail else "")
        offer_stages(self, "stage", practice, stored=f"{nail.stage_system}:{nail.stage}" if nail else "")
        if nail is not None:  # what is timed is on record by now
            self.fields["exposure"].choices = [pair for pair in EXPOSURES if pair[0] != TIMED]
        self.rows = range(1, max(ROWS, longest(nail)) + 1)
        for number in self.rows:
            self.fields[f"seconds_{number}"] = seconds_field(number, "")
            self.fields[f"fibular_{number}"] = seconds_field(number, " at the fibular side")
        plain_names = ("matrix_destroyed", "agent", "strength_percent", "strength_basis", "exposure",
                       "site_outcome", "site_text")  # fmt: skip
        self.asked_when_needed = (*plain_names, "same", *UNKNOWN_SIDES, "total_seconds", "total_fibular",
                                  *self.second_names())  # fmt: skip

    # --- what the page shows

    def seconds_row(self) -> list[forms.BoundField]:
        return [self[f"seconds_{number}"] for number in self.rows]

    def fibular_row(self) -> list[forms.BoundField]:
        return [self[f"fibular_{number}"] for number in self.rows]

    def read_back(self) -> dict[str, Any] | None:
        """The site in words, once toe and part are chosen."""
        toe, part = self["toe"].value(), self["side"].value()
        if str(toe) not in dict(SITES) or str(part) not in NailPart.codes():
            return None
        foot, number = split_site(str(toe))
        name = capital(site_name(foot, number, part))
        return {"foot": foot, "part": part, "site": name, "landmark": landmark(part, number)}

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
        names = ("exposure", "same", *UNKNOWN_SIDES, "total_seconds", "total_fibular", *self.second_names())
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
        both = answers.get("side") == BOTH
        if self.contradicts_unknown(known, answers, both=both):
            return
        if not self.given(known, "seconds", answers) and not answers.get("unknown_tibial"):
            self.add_error(first, f"Enter {what}, like 60, or choose “Not recorded”")
        has_second = self.given(known, "fibular", answers)
        settled = answers.get("same") or has_second or answers.get("unknown_fibular")
        if both and not settled and second not in self.errors:
            self.add_error(
                second, f"Enter {what} at the fibular side, or tick “The same at both sides” or “Not recorded”"
            )
        if has_second and (not both or answers.get("same")):
            why = "“The same at both sides” is ticked" if both else "only one part was treated"
            self.add_error(second, f"Seconds of the fibular side are typed, but {why}; clear one of them")

    def contradicts_unknown(self, known: str, answers: dict[str, Any], *, both: bool) -> bool:
        """One of two sides may be not recorded, if nothing is typed for it."""
        ticked = [name for name in UNKNOWN_SIDES if answers.get(name)]
        rows = {"unknown_tibial": "seconds", "unknown_fibular": "fibular"}
        for name in ticked:
            if not both or len(ticked) == 2:
                self.add_error("exposure", "Choose “Not recorded” here if nothing is known of the exposure")
                return True
            if answers.get("same") or self.given(known, rows[name], answers):
                side = UNKNOWN_SIDES[name]
                self.add_error(name, f"Seconds count for the {side} side, but it is ticked as not recorded; clear one")
                return True
        return False

    def given(self, known: str, row: str, answers: Mapping[str, Any]) -> tuple[int, ...]:
        """Seconds of a row, in their order, or its total."""
        names = [f"{row}_{number}" for number in self.rows]
        if known == TOTAL:
            names = ["total_seconds" if row == "seconds" else "total_fibular"]
        return tuple(answers[name] for name in names if answers.get(name) is not None)

    # --- what is stored

    @property
    def site(self) -> tuple[str, int]:
        return split_site(self.cleaned_data["toe"])

    def exposures(self) -> dict[str, tuple[int, ...]]:
        """Seconds of each treated side; empty where nothing was recorded or no agent was used."""
        answers = self.cleaned_data
        known = answers["exposure"]
        sides = sides_of(answers["side"])
        if not words.Technique(answers["technique"]).takes_agent or known in UNKNOWN:
            return dict.fromkeys(sides, ())
        first = self.given(known, "seconds", answers)
        second = first if answers["same"] else self.given(known, "fibular", answers)
        return dict(zip(sides, (first, second), strict=False))  # a side that is not recorded has no seconds

    def ask_to_decide(self, differences: Sequence[str]) -> None:
        """Where consent and operation differ, somebody says what was decided, or changes the answer."""
        self.differences = list(differences)
        if not self.differences:
            return
        if not self.cleaned_data.get("site_outcome"):
            self.add_error("site_outcome", f"{self.differences[0]} Change the answer, or choose what was decided")
        if not self.cleaned_data.get("site_text"):
            self.add_error("site_text", "Give the reason")

    @property
    def destroys_matrix(self) -> bool | None:
        """None while the answers leave it open."""
        answers = self.cleaned_data
        if not answers.get("technique"):
            return None
        decided = words.Technique(answers["technique"]).destroys_matrix
        return {"yes": True, "no": False}.get(answers.get("matrix_destroyed", "")) if decided is None else decided

    def decisions(self) -> tuple[dict[str, str], ...]:
        outcome, text = self.cleaned_data["site_outcome"], self.cleaned_data["site_text"]
        return tuple({"fact": fact, "outcome": outcome, "text": text} for fact in self.differences)

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
        return ToeValues(fields=self.columns(), sides=sides, decisions=self.decisions())

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
        system, _, stage = (answers["stage"] or f"{words.StageSystem.NONE.value}:").partition(":")
        return {
            "foot": foot,
            "toe": toe,
            "technique": technique.value,
            "matrix_destroyed": bool(self.destroys_matrix),
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
