"""Questions of the operation page and the codes of their answers."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic.access.numbers import WholeNumberField
from clinic.vocabulary import procedure as words
from clinic.vocabulary.sites import BOTH

ROWS = 4
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


def stage_choices() -> list[Any]:
    groups = [
        (system.label, [(f"{system.value}:{stage}", f"{system.label} {stage}") for stage in stages])
        for system, stages in words.STAGES.items()
        if system != words.StageSystem.NONE
    ]
    return [("", "Choose a stage"), (f"{words.StageSystem.NONE.value}:", words.StageSystem.NONE.label), *groups]
