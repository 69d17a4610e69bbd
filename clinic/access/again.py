"""The password once more, before something leaves that cannot be called back."""

from datetime import datetime

from django import forms

from clinic.access.models import Member
from clinic.access.throttle import claim_try, note_failure, note_success

WAIT = "There were too many tries. Wait a little and try again."


class PasswordAgain:
    """Mixin before forms.Form: asks for it again. Throttled like signing in.

    Pass member, address and now; with `ask` false the field is left out.
    """

    def __init__(self, *args, member: Member, address: str, now: datetime, ask: bool = True, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.member, self.address, self.now = member, address, now
        if ask:
            self.fields["password"] = forms.CharField(
                label="Your password",
                strip=False,
                max_length=200,
                widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
                error_messages={"required": "Type your password again; what leaves cannot be called back"},
            )

    def clean_password(self) -> str:
        given, username = self.cleaned_data["password"], self.member.get_username()
        if not claim_try(username=username, address=self.address, now=self.now):
            raise forms.ValidationError(WAIT)
        if not self.member.check_password(given):
            note_failure(address=self.address, now=self.now)
            raise forms.ValidationError("This is not your password")
        note_success(username=username, address=self.address, now=self.now)
        return given
