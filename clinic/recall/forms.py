"""Closing an operation as lost."""

from typing import Any

from django import forms

from clinic.access.answers import choice
from clinic.access.once import OneTimeForm
from clinic.recall.queries import Followed
from clinic.reviews.stops import UNANSWERED
from clinic.schedule import TWELVE_MONTHS
from clinic.vocabulary.recall import Stop
from clinic.vocabulary.review import ContactResult, LossReason

# What the log must hold for a reason to be true; somebody reads these figures as facts.
NEEDS = {
    LossReason.DID_NOT_ATTEND: (ContactResult.DID_NOT_ATTEND, "no missed appointment"),
    LossReason.MOVED: (ContactResult.MOVED, "nobody who said that the patient has moved"),
    LossReason.DECLINED: (ContactResult.DECLINED, "nobody who declined"),
}


class CloseForm(OneTimeForm, forms.Form):
    """row: where the operation stands. The reason is never filled in; the log must bear it out."""

    use_required_attribute = False
    reason = choice("Why the outcome is not known", LossReason, "Choose the reason", columns=3)
    note = forms.CharField(label="Note", max_length=200, required=False)
    early = forms.BooleanField(label="Close although the window is still open", required=False)

    def __init__(self, *args: Any, row: Followed, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.row = row
        self.is_early = row.day <= TWELVE_MONTHS.closes_day
        self.is_open = self.is_early and row.day >= TWELVE_MONTHS.opens_day
        if not self.is_early:
            del self.fields["early"]
        elif not self.is_open:
            self.fields["early"].label = "Close although the window has not opened yet"

    def clean_reason(self) -> str:
        reason = self.cleaned_data["reason"]
        tries = [contact for contact in self.row.contacts if contact.operation_id == self.row.operation.pk]
        unanswered = [contact for contact in tries if contact.result in UNANSWERED]
        if reason == LossReason.NEVER_TRIED and tries:
            raise forms.ValidationError("The log holds a try, so “Never contacted” is not true; choose another reason")
        if reason == LossReason.NO_REPLY and not unanswered:
            raise forms.ValidationError("The log holds no try without an answer; log it, or choose another reason")
        if reason in NEEDS and not self._bears_out(reason):
            what = NEEDS[LossReason(reason)][1]
            raise forms.ValidationError(f"The log holds {what}; log that contact first, or choose another reason")
        return reason

    def _bears_out(self, reason: str) -> bool:
        if reason == LossReason.DECLINED and self.row.operation.patient.no_contact_wished:
            return True
        stopped = {LossReason.MOVED: Stop.MOVED, LossReason.DECLINED: Stop.DECLINED}.get(LossReason(reason))
        own = {c.result for c in self.row.contacts if c.operation_id == self.row.operation.pk}
        return NEEDS[LossReason(reason)][0].value in own or (stopped is not None and self.row.stop == stopped)

    def clean(self) -> dict[str, Any]:
        answers = super().clean()
        if self.row.report_waits:
            self.add_error("reason", "The patient has answered: a clinician accepts or refuses that report first")
        if self.is_early and not answers.get("early"):
            later = f"opens on day {TWELVE_MONTHS.opens_day} and closes on day {TWELVE_MONTHS.closes_day}"
            when = f"is open until day {TWELVE_MONTHS.closes_day}" if self.is_open else later
            self.add_error("early", f"The window {when}. Tick to close it all the same")
        return answers
