"""What the checklist already answered is not asked again at the end: carried over, said so, and open to change.

Only a plain "yes" is carried, and only into a question that nobody has answered yet.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from clinic.procedures.models import NailProcedure, Operation
from clinic.vocabulary.procedure import Answer
from clinic.vocabulary.theatre import Aftercare, BlockResult, CheckAnswer

FROM_CHECKLIST = "From the checklist."
AT_TOE = {"numb": ("block_result", BlockResult.EFFECTIVE.value), "tourniquet_off": ("witnessed", Answer.YES.value)}
AT_END = {"aftercare": ("aftercare", Aftercare.SPOKEN_AND_WRITTEN.value)}


def carried_over(
    operation: Operation, nails: Iterable[NailProcedure], answers: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, set[str]]]:
    """The answers of the closing page with what the checklist holds, and by form the fields that came from it.

    answers: by form, "end" and the key of each toe. Two statements.
    """
    with_tourniquet = {nail.key for nail in nails if nail.tourniquet_on_at}
    said = {
        item.code: phase.second_initials
        for phase in operation.checklist.prefetch_related("items")
        for item in phase.items.all()
        if item.answer == CheckAnswer.YES
    }
    filled = {name: dict(given) for name, given in answers.items()}
    came: dict[str, set[str]] = {name: set() for name in filled}
    for name, given in filled.items():
        for code, (field, value) in (AT_END if name == "end" else AT_TOE).items():
            if code in said and not given.get(field) and (field != "witnessed" or name in with_tourniquet):
                given[field] = value
                came[name].add(field)
        if "witnessed" in came[name] and not given.get("removal_seen_by"):
            given["removal_seen_by"] = said["tourniquet_off"]
            came[name].add("removal_seen_by")
    return filled, came


def say_where_from(form: Any, fields: Iterable[str]) -> None:
    for name in fields:
        if name in form.fields:
            form.fields[name].help_text = FROM_CHECKLIST
