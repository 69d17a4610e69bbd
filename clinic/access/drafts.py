"""What somebody typed and has not saved, kept on the server for them alone. Not a record."""

import json
from collections.abc import Mapping

from django.core.exceptions import BadRequest
from django.http import QueryDict

from clinic.access.models import Draft, Member

LARGEST_BYTES = 20_000
NEVER_KEPT = frozenset({"csrfmiddlewaretoken", "once", "token", "version"})
# Who the patient is lies sealed in one table; a draft would be a second, open copy.
SEALED_ELSEWHERE = frozenset({"family_name", "given_name", "born_on", "record_number", "phone", "email"})


class DraftRefused(BadRequest):
    """The answers are too long or no answers at all; a view that does not catch this answers 400."""


def keep_draft(member: Member, form: str, subject_key: str, answers: Mapping[str, object]) -> Draft:
    """Keep the answers in place of the earlier draft of the same form about the same subject.

    answers: a dict or the posted data itself; fields with more than one value become lists.
    """
    kept = kept_answers(answers)
    if len(json.dumps(kept, ensure_ascii=False).encode("utf-8", "replace")) > LARGEST_BYTES:
        raise DraftRefused("The draft is longer than 20 kB and was not kept.")
    draft, _ = Draft.objects.update_or_create(
        member=member, form=form, subject_key=subject_key, defaults={"answers": kept}
    )
    return draft


def draft_of(member: Member, form: str, subject_key: str) -> dict[str, object] | None:
    """The kept answers, or None. Nobody sees the draft of somebody else."""
    draft = Draft.objects.filter(member=member, form=form, subject_key=subject_key).first()
    return draft.answers if draft else None


def drop_draft(member: Member, form: str, subject_key: str) -> None:
    """Call when the form was saved, inside the same transaction."""
    Draft.objects.filter(member=member, form=form, subject_key=subject_key).delete()


def kept_answers(answers: Mapping[str, object]) -> dict[str, object]:
    if not isinstance(answers, Mapping):
        raise DraftRefused("A draft is a set of named answers.")
    pairs = listed(answers) if isinstance(answers, QueryDict) else answers.items()
    return {str(name): clean(value) for name, value in pairs if may_be_kept(str(name))}


def listed(answers: QueryDict) -> list[tuple[str, object]]:
    """One value as itself, several as a list."""
    return [(name, values[0] if len(values) == 1 else values) for name, values in answers.lists()]


def may_be_kept(name: str) -> bool:
    # A prefix ("toe1-once") does not change what a field is; "password1" and "new_password" are passwords.
    last = name.rsplit("-", 1)[-1]
    return last not in NEVER_KEPT and last not in SEALED_ELSEWHERE and "password" not in last


def clean(value: object) -> object:
    """Text without NUL, which PostgreSQL cannot store; anything but text, numbers and lists becomes text."""
    if isinstance(value, list | tuple):
        return [clean(each) for each in value]
    if value is None or isinstance(value, bool | int | float):
        return value
    return str(value).replace("\x00", "").encode("utf-8", "replace").decode()
