"""What was done about a flag, in a word and in words."""

from django import forms

from clinic.access.answers import choice
from clinic.access.forms import VersionedForm
from clinic.redflags.models import RedFlag
from clinic.vocabulary.redflag import AlertAction


class AnswerForm(VersionedForm, forms.Form):
    """Each flag of a page has a form with ids of its own."""

    flag = forms.SlugField(widget=forms.HiddenInput)
    action = choice("What was done", AlertAction, "Choose what was done", columns=2)
    text = forms.CharField(
        label="In words",
        max_length=500,
        error_messages={
            "required": "Say in words what was done, and by whom",
            "max_length": "The words may have at most 500 characters",
        },
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    field_order = ("flag", "action", "text")
    use_required_attribute = False

    def __init__(self, *args, about: RedFlag, **kwargs) -> None:
        super().__init__(
            *args, version=about.version, initial={"flag": about.key}, auto_id=f"id_{about.key}_%s", **kwargs
        )
        self.about = about
