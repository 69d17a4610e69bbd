"""What every page shows around its content: theme, menu, find."""

from dataclasses import dataclass

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from clinic.access.models import Member
from clinic.access.rules import Action, may

MENU = (
    ("Today", "today", Action.SEE_WORKLIST),
    ("Patients", "patients", Action.FIND_PATIENT),
    ("Recall", "recall", Action.BOOK_REVIEW),
    ("Audit", "audit", Action.READ_AUDIT),
    ("People", "people", Action.MANAGE_PEOPLE),
    ("Exchange", "exchange", Action.READ_POOLED),
    ("Settings", "practice-settings", Action.SET_PRACTICE),
)


@dataclass(frozen=True)
class MenuItem:
    label: str
    url: str
    current: bool


def page_furniture(request: HttpRequest) -> dict[str, object]:
    """Theme and menu of the signed-in member; nothing but defaults for everybody else."""
    member = getattr(request, "user", None)
    if member is None or not member.is_authenticated:
        return {"theme": "", "menu": [], "may_find": False, "keys_off": False}
    return {
        "theme": member.theme,
        "menu": menu_of(member, path=request.path),
        "may_find": may(member.role, Action.FIND_PATIENT),
        "keys_off": not member.slash_finds,
    }


def menu_of(member: Member, *, path: str = "") -> list[MenuItem]:
    """The pages this role may open, in the order of a day's work; the first one is the role's home."""
    if member.practice_id is None:
        return []
    pages = [(label, address_of(name)) for label, name, action in MENU if may(member.role, action)]
    return [MenuItem(label, url, current=path.startswith(url)) for label, url in pages if url]


def address_of(name: str) -> str:
    """Empty while a page is not on the site map, so that an installation without it still works."""
    try:
        return reverse(name)
    except NoReverseMatch:
        return ""
