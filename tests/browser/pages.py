"""Every page a person can open, found as a person finds it: from links on the pages before."""

from collections.abc import Callable

from playwright.sync_api import Page


def href(page: Page, start: str, contains: str, ends: str = "/") -> str:
    """The first link on `start` whose address contains the text."""
    page.goto(start)
    links = [link.get_attribute("href") for link in page.locator("a[href]").all()]
    return next(link for link in links if contains in link and link.endswith(ends))


def first_patient(page: Page) -> str:
    return href(page, "/today/", "/patients/")


def first_toe(page: Page) -> str:
    return href(page, first_patient(page), "/toes/")


def first_review(page: Page) -> str:
    return href(page, first_toe(page), "/reviews/")


PAGES: dict[str, tuple[str | None, Callable[[Page], str] | str]] = {
    "sign in": (None, "/sign-in/"),
    "today": ("idris", "/today/"),
    "patients": ("idris", "/patients/"),
    "new patient": ("idris", "/patients/new/"),
    "patient": ("idris", first_patient),
    "change patient": ("idris", lambda page: href(page, first_patient(page), "/change/")),
    "new operation": ("idris", lambda page: href(page, first_patient(page), "/operation/")),
    "operation": ("idris", lambda page: href(page, first_toe(page), "/operations/")),
    "toe": ("idris", first_toe),
    "record review": ("idris", lambda page: href(page, "/today/", "/review/")),
    "review": ("idris", first_review),
    "correct review": ("idris", lambda page: href(page, first_review(page), "/correct/")),
    "book": ("pip", lambda page: href(page, "/today/", "/book/")),
    "contact": ("pip", lambda page: href(page, "/today/", "/contact/")),
    "patient for reception": ("pip", first_patient),
    "audit": ("orla", "/audit/"),
    "settings": ("orla", "/settings/"),
    "people": ("ada", "/people/"),
    "add person": ("ada", "/people/add/"),
    "shared results": ("ravi", "/shared-results/"),
    "account": ("idris", "/account/"),
    "help": ("idris", "/help/"),
    "not found": ("idris", "/patients/nosuchpatient/"),
    "refused": ("idris", "/people/"),
}


def address_of(name: str, page: Page) -> str:
    where = PAGES[name][1]
    return where if isinstance(where, str) else where(page)
