"""Striking out a wrong entry, whatever it is: by the lead or whoever wrote it, with a reason."""

from collections.abc import Callable

from django import forms
from django.contrib import messages
from django.http import HttpRequest

from clinic.access.answers import MOVED_ON
from clinic.access.models import Conflict, Member, Strikable
from clinic.access.rules import Role
from clinic.vocabulary.sites import capital

STAYS = "It stays readable and counts nowhere."


def may_strike(member: Member, author_id: int) -> bool:
    """The lead, or whoever wrote it down."""
    return member.role == Role.LEAD or author_id == member.pk


def strike_out(
    request: HttpRequest,
    row: Strikable,
    form: forms.Form,
    act: Callable[[str], None],
    *,
    what: str,
    author_id: int,
    wrote: str = "recorded",
    stays: str = STAYS,
) -> None:
    """Strike the row out, or say why not; an entry struck out already is left as it is.

    act: does it, given the reason, and raises Conflict if the row moved on. what: the entry in words.
    """
    if not may_strike(request.user, author_id):
        messages.error(request, f"Only the practice lead or the person who {wrote} this {what} may strike it out.")
    elif not form.is_valid():
        messages.error(request, f"Give the reason for striking out this {what}.")
    elif not row.struck_at:
        try:
            act(form.cleaned_data["reason"])
        except Conflict:
            messages.error(request, MOVED_ON)
        else:
            messages.success(request, f"{capital(what)} struck out. {stays}")
