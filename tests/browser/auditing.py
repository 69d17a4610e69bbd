"""The yearly audit as a lead goes through it, up to the signature."""

import re
from datetime import date, timedelta

from playwright.sync_api import Locator, Page, expect

from tests.browser.hands import Hand, Pointer
from tests.browser.work import arrive

# A matured year of the demo that no walk signs.
QUIET_YEAR = 2022


def row_of(page: Page, label: str | re.Pattern[str]) -> Locator:
    return page.get_by_role("row").filter(has=page.get_by_role("rowheader", name=label))


def prepared_audit(page: Page) -> str:
    """Address of an audit with everything done but the signature; made when first asked for."""
    address = f"/audit/{QUIET_YEAR}/"
    page.goto("/audit/years/")
    begin = row_of(page, re.compile(f"^{QUIET_YEAR}")).get_by_role("link", name=re.compile("^Begin"))
    if begin.count():
        begin.click()
        steps_to_sign_off(Pointer(page), person="Pip Fixture")
    return address


def steps_to_sign_off(hand: Hand, *, person: str) -> None:
    """From the open page of the period to the open page of the sign-off."""
    page = hand.page
    arrive(page, "Period")
    hand.fill(page.get_by_label("Why this audit"), "How many nails grew back, and how many did we see?")
    hand.activate(page.get_by_role("button", name="Begin this audit"))
    arrive(page, "Data quality")
    hand.activate(page.get_by_role("button", name="I have read this; go on to the results"))
    arrive(page, "Symptomatic recurrence at 12 months")
    hand.fill(
        page.get_by_label("What the results mean"), "No change that chance would not explain; too many were not seen."
    )
    hand.activate(page.get_by_role("button", name="Keep and go on to the standard"))
    arrive(page, "Standard")
    hand.activate(page.get_by_role("button", name="Confirm the standards"))
    arrive(page, "Actions")
    hand.fill(page.get_by_label("What will be done"), "Second call at another hour, then a letter, at 12 months")
    hand.pick(page.get_by_label("Who", exact=True), person)
    hand.fill_day(page.get_by_label("By when"), date.today() + timedelta(days=90))
    hand.pick(page.get_by_label("Criterion"), "O8 Outcome known at 12 months")
    hand.fill(page.get_by_label("How we will know"), "Outcome known in 90 %")
    hand.activate(page.get_by_role("button", name="Agree", exact=True))
    expect(page.get_by_text("Action agreed.")).to_be_visible()
    hand.activate(page.get_by_role("link", name="Go on to sign-off"))
    arrive(page, "Sign-off")
