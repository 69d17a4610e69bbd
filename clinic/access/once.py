"""A create form makes one record, however often it is sent.

    with transaction.atomic():
        operation = Operation(...)                                  # its key exists before it is saved
        if earlier := claim(member, form.once, reverse("operation", args=[operation.key])):
            return redirect(earlier)
        operation.keep(by=member)

The first of six posts at once inserts the token and goes on; the others wait for it, and are then led to its
result. If the first one fails, its token goes with its transaction, and the next one takes over.
"""

import re
import secrets

from django import forms
from django.core.exceptions import BadRequest
from django.db import IntegrityError, connection, transaction

from clinic.access.models import Member, Submission

TOKEN = re.compile(r"\A[A-Za-z0-9_-]{20,40}\Z")


class OneTimeForm:
    """Mixin before forms.Form or forms.ModelForm: adds the hidden field `once`.

    A layout that names its fields must name "once", too.
    """

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["once"] = forms.RegexField(
            TOKEN,
            widget=forms.HiddenInput,
            initial=new_token,
            error_messages=dict.fromkeys(("required", "invalid"), "This page is too old. Open it again."),
        )

    @property
    def once(self) -> str:
        """The token of a valid form."""
        return self.cleaned_data["once"]


def new_token() -> str:
    return secrets.token_urlsafe(24)


def first_or_result(member: Member, token: str) -> str | None:
    """Where an earlier post of the same form led; None if there was none.

    For a look before validation: a form sent again may have become invalid by its own first success.
    """
    earlier = Submission.objects.filter(token=token, member=member).first()
    return earlier.leads_to if earlier else None


def claim(member: Member, token: str, leads_to: str) -> str | None:
    """Take the token for this transaction; gives None, or where the post led that took it before.

    Call inside the transaction that makes the record, before it is made: the insert is what the others wait for,
    on PostgreSQL at the unique index, on SQLite already at the beginning of their transaction.
    """
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError("claim() belongs inside transaction.atomic()")
    if not TOKEN.search(token):  # a longer one would break the column, on PostgreSQL only
        raise BadRequest("This is no token of a form.")
    try:
        with transaction.atomic():  # a savepoint, so that the refusal leaves the outer transaction usable
            Submission.objects.create(token=token, member=member, leads_to=leads_to)
    except IntegrityError:
        return result_of(member, token)
    return None


def result_of(member: Member, token: str) -> str:
    earlier = first_or_result(member, token)
    if earlier is None:  # the token is somebody else's, which no form of ours ever sends
        raise BadRequest("This form belongs to somebody else.")
    return earlier
