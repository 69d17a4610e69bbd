"""Every page a person can open, found as a person finds it: from links on the pages before."""

import re
import tempfile
from collections.abc import Callable
from datetime import date
from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import Page

from tests.browser.auditing import prepared_audit
from tests.browser.hands import Pointer
from tests.browser.work import add_photograph, picture_in

KEY = "[a-z0-9]{12}"
TOPICS = ("times", "agents", "dressings", "staging", "checklist", "audit")


def href(page: Page, start: str, pattern: str) -> str:
    """The first link on `start` whose address contains the pattern."""
    page.goto(start)
    links = [link.get_attribute("href") or "" for link in page.locator("a[href]").all()]
    found = [link for link in links if re.search(pattern, link)]
    assert found, f"no link like {pattern} on {start}"
    return found[0]


def found_once(find: Callable[[Page], str]) -> Callable[[Page], str]:
    """Looks for a row once for each sign-in; on other pages its address is known."""
    found: dict[str, str] = {}

    def remembered(page: Page) -> str:
        who = str(sorted(cookie["value"] for cookie in page.context.cookies() if "session" in cookie["name"]))
        if who not in found:
            found[who] = find(page)
        return found[who]

    return remembered


@found_once
def first_patient(page: Page) -> str:
    """Somebody whose review is booked, so that there is something to read; for reception the first of the list."""
    page.goto("/today/")
    booked = page.locator("li", has=page.locator('a[href$="/review/"]')).locator('a[href*="/patients/"]')
    return booked.first.get_attribute("href") or "" if booked.count() else href(page, "/today/", f"/patients/{KEY}/$")


@found_once
def first_toe(page: Page) -> str:
    return href(page, first_patient(page), f"/toes/{KEY}/$")


@found_once
def first_review(page: Page) -> str:
    return href(page, first_toe(page), f"/reviews/{KEY}/$")


@found_once
def first_operation(page: Page) -> str:
    return href(page, first_toe(page), f"/operations/{KEY}/$")


def first_photograph(page: Page) -> str:
    """Of the first toe; added there if it has none yet."""
    page.goto(first_toe(page))
    preview = page.locator("a.photograph-preview")
    if not preview.count():
        with tempfile.TemporaryDirectory() as folder:
            add_photograph(Pointer(page), picture_in(Path(folder)), date.today())
    return preview.first.get_attribute("href") or ""


def to_recall(page: Page, act: str, show: str = "outcome") -> str:
    """The page of an act of the first row of a recall list; the acts hang on the operation."""
    key = href(page, f"/recall/?show={show}", f"/operations/{KEY}/").split("/")[2]
    return f"/operations/{key}/{act}/"


def letters_to_two(page: Page) -> str:
    page.goto("/recall/?show=outcome")
    keys = [box.get_attribute("value") for box in page.locator("input[name=pick]").all()[:2]]
    return "/recall/letters/?" + "&".join(f"pick={key}" for key in keys)


def patients_own_page(page: Page) -> str:
    """Behind a new link to somebody who is due."""
    page.goto(to_recall(page, "link"))
    page.get_by_label("12 months").check()
    page.get_by_role("button", name="Make the slip").click()
    return urlsplit(page.locator(".slip .address").inner_text()).path


def a_running_operation(page: Page) -> str:
    """Today names the operations that are not signed yet."""
    return href(page, "/today/", f"/operations/{KEY}/(room|sign)/$").rsplit("/", 2)[0] + "/"


@found_once
def peer_group(page: Page) -> str:
    return href(page, "/exchange/", f"/exchange/groups/{KEY}/$")


quiet_audit = found_once(prepared_audit)


PAGES: dict[str, tuple[str | None, Callable[[Page], str] | str]] = {
    "sign in": (None, "/sign-in/"),
    "today": ("idris", "/today/"),
    "patients": ("idris", "/patients/"),
    "new patient": ("idris", "/patients/new/"),
    "patient": ("idris", first_patient),
    "change patient": ("idris", lambda page: href(page, first_patient(page), "/change/")),
    "new operation": ("idris", lambda page: href(page, first_patient(page), "/operation/")),
    "operation": ("idris", first_operation),
    "operation note": ("idris", lambda page: first_operation(page) + "note/"),
    "in the room": ("idris", lambda page: a_running_operation(page) + "room/"),
    "checklist": ("idris", lambda page: a_running_operation(page) + "checklist/before_anaesthesia/"),
    "end of the operation": ("idris", lambda page: a_running_operation(page) + "end/"),
    "read and sign": ("idris", lambda page: a_running_operation(page) + "sign/"),
    "record anaesthetic": ("idris", lambda page: a_running_operation(page) + "dose/"),
    "event": ("idris", lambda page: a_running_operation(page) + "event/"),
    "red flags": ("idris", lambda page: first_operation(page) + "flags/"),
    "toe amputated": ("idris", lambda page: first_toe(page) + "amputated/"),
    "new assessment": ("idris", lambda page: first_patient(page) + "assessment/"),
    "new consent": ("idris", lambda page: first_patient(page) + "consent/"),
    "toe": ("idris", first_toe),
    "toe with a photograph": ("idris", lambda page: (first_photograph(page), first_toe(page))[1]),
    "add a photograph": ("idris", lambda page: first_toe(page) + "photograph/"),
    "photograph": ("idris", first_photograph),
    "delete a photograph": ("idris", lambda page: first_photograph(page) + "withdraw/"),
    "record review": ("idris", lambda page: href(page, "/today/", "/review/")),
    "review": ("idris", first_review),
    "correct review": ("idris", lambda page: href(page, first_review(page), "/correct/")),
    "book": ("pip", lambda page: href(page, "/today/", "/book/")),
    "contact": ("pip", lambda page: href(page, "/today/", "/contact/")),
    "patient for reception": ("pip", first_patient),
    "recall": ("pip", "/recall/"),
    "recall, outcome missing": ("idris", "/recall/?show=outcome"),
    "recall, to close": ("pip", "/recall/?show=close"),
    "close as lost": ("pip", lambda page: to_recall(page, "close", "close")),
    "letters": ("pip", letters_to_two),
    "messages": ("pip", "/recall/messages/"),
    "calendar": ("pip", "/recall/calendar/"),
    "link for a patient": ("pip", lambda page: to_recall(page, "link")),
    "patient's own page": ("pip", patients_own_page),
    "patient's page, unknown link": ("pip", "/r/nosuchtoken/"),
    "following up": ("orla", "/settings/follow-up/"),
    "review schedule": ("orla", "/settings/follow-up/common/"),
    "merge two entries": ("orla", lambda page: first_patient(page) + "merge/"),
    "who will be lost": ("orla", "/audit/outlook/"),
    "audit": ("orla", "/audit/"),
    "course after surgery": ("orla", "/audit/course/"),
    "how operations were done": ("orla", "/audit/process/"),
    "audit years": ("orla", "/audit/years/"),
    "audit period": ("orla", quiet_audit),
    "audit data quality": ("orla", lambda page: quiet_audit(page) + "quality/"),
    "audit results": ("orla", lambda page: quiet_audit(page) + "results/"),
    "audit course": ("orla", lambda page: quiet_audit(page) + "course/"),
    "audit standard": ("orla", lambda page: quiet_audit(page) + "standard/"),
    "change a standard": ("orla", lambda page: quiet_audit(page) + "standard/O8/"),
    "audit actions": ("orla", lambda page: quiet_audit(page) + "actions/"),
    "audit action": ("orla", lambda page: href(page, quiet_audit(page) + "actions/", f"/audit/actions/{KEY}/$")),
    "audit sign-off": ("orla", lambda page: quiet_audit(page) + "sign-off/"),
    "audit report": ("orla", lambda page: quiet_audit(page) + "report/"),
    "between two audits": ("orla", "/audit/monitoring/"),
    "how numbers were checked": ("orla", "/audit/checked/"),
    "how a family was checked": ("orla", "/audit/checked/proportions/"),
    "settings": ("orla", "/settings/"),
    **{f"settings, {code}": ("orla", f"/settings/{code}/") for code in TOPICS},
    "templates": ("orla", "/settings/templates/"),
    "add a template": ("orla", "/settings/templates/new/"),
    "template": ("orla", lambda page: href(page, "/settings/templates/", f"/settings/templates/{KEY}/$")),
    "limits": ("orla", "/settings/limits/"),
    "people": ("ada", "/people/"),
    "add person": ("ada", "/people/add/"),
    "exchange for the reviewer": ("ravi", "/exchange/"),
    "exchange": ("orla", "/exchange/"),
    "peer group for the reviewer": ("ravi", peer_group),
    "peer group for a practice": ("harper", peer_group),
    "pooled comparison": ("ravi", lambda page: peer_group(page) + "compare/"),
    "hand in a set": ("harper", lambda page: peer_group(page) + "hand-in/"),
    "open a group": ("ravi", "/exchange/groups/new/"),
    "join a group": ("orla", "/exchange/groups/join/"),
    "ask a practice": ("ravi", lambda page: peer_group(page) + "topics/new/"),
    "question": ("ravi", lambda page: href(page, peer_group(page), f"/exchange/topics/{KEY}/$")),
    "own data": ("orla", "/exchange/own-data/"),
    "hand over a patient": ("orla", lambda page: first_patient(page) + "hand-over/"),
    "account": ("idris", "/account/"),
    "help": ("idris", "/help/"),
    "not found": ("idris", "/patients/nosuchpatient/"),
    "refused": ("idris", "/people/"),
}


def address_of(name: str, page: Page) -> str:
    where = PAGES[name][1]
    return where if isinstance(where, str) else where(page)
