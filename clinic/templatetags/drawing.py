"""The drawings of clinic.drawing as template tags."""

from django import template
from django.forms.boundfield import BoundField, BoundWidget
from django.forms.utils import flatatt
from django.utils.html import format_html
from django.utils.safestring import SafeString

from clinic import drawing

register = template.Library()

register.simple_tag(drawing.nail_glyph)
register.simple_tag(drawing.side_picture)
register.simple_tag(drawing.window_track)
register.simple_tag(drawing.toe_timeline)
register.simple_tag(drawing.interval_strip)
register.simple_tag(drawing.meter)

# As the operator sees the feet from the foot of the chair.
SCREEN_ORDER = {"right": (5, 4, 3, 2, 1), "left": (1, 2, 3, 4, 5)}


@register.simple_tag
def feet_of(field: BoundField) -> list[dict[str, object]]:
    """The ten toe answers of a radio field in screen order, whatever order the form has."""
    options: dict[str, BoundWidget] = {str(option.data["value"]): option for option in field.subwidgets}
    return [
        {
            "foot": foot,
            "toes": [
                {"number": number, "short": f"{foot[0].upper()}{number}", "option": options[f"{foot}-{number}"]}
                for number in numbers
                if f"{foot}-{number}" in options
            ],
        }
        for foot, numbers in SCREEN_ORDER.items()
    ]


@register.filter
def choice(option: BoundWidget, field: BoundField) -> SafeString:
    """One answer with its label. A form has hundreds, and a template for each would take most of its time."""
    data = option.data
    look = "choice" + " opens" * opens(option, field) + " word" * (len(str(data["value"])) > 2)
    value = "" if data["value"] is None else format_html(' value="{}"', str(data["value"]))
    given = {name: at if isinstance(at, bool) else str(at) for name, at in data["attrs"].items()}
    return format_html(
        '<div class="{}"><input type="{}" name="{}"{}{}><label for="{}">{}</label></div>',
        look, data["type"], data["name"], value, flatatt(given), option.id_for_label, option.choice_label,
    )  # fmt: skip


def opens(option: BoundWidget, field: BoundField) -> bool:
    """True where this answer opens the questions that depend on it (`widget.opens`)."""
    return str(option.data["value"]) in {str(value) for value in getattr(field.field.widget, "opens", ())}


@register.filter
def columns(field: BoundField) -> int:
    """How many answers stand side by side: `widget.columns`, else what fits the number of answers."""
    wanted = getattr(field.field.widget, "columns", None)
    if wanted:
        return int(wanted)
    count = len(list(field.subwidgets))
    return count if count <= 4 else (3 if count in (5, 6, 9) else 4)
