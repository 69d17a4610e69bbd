"""Taps, targets and the walk from a review to the audit, in a real browser on the demo data."""

import re
from datetime import date, datetime, timedelta

import pytest
from playwright.sync_api import Page, expect

from tests.browser.finger import Finger
from tests.browser.hands import Pointer
from tests.browser.pages import href
from tests.browser.work import register

CHAIRSIDE_PX = 56


def open_booked(page: Page) -> Finger:
    """Today, then the first booked row whose operation has one toe."""
    page.goto("/today/")
    finger = Finger(page)
    rows = page.locator("#booked").locator("xpath=following::ul[1]/li")
    for index in range(rows.count()):
        if rows.nth(index).locator(".op strong").count() == 1:
            finger.tap(rows.nth(index).get_by_role("link", name="Record review"))
            page.wait_for_url("**/review/")
            page.wait_for_load_state()  # the keys are taken by a script
            left = page.get_by_role("button", name="Throw the draft away")
            if left.count():  # by a test before, whose page was left
                left.click()
                page.wait_for_load_state()
            return finger
    raise AssertionError("no booked row with one toe")


def answer_toe(finger: Finger) -> None:
    finger.choose("Healing", "Healed, dry")
    finger.choose("Signs of infection", "No signs seen")
    finger.choose("Antibiotic since", "No antibiotic")
    finger.choose("Pain today", "1")


def take_back(page: Page) -> None:
    page.get_by_role("button", name="Undo").click()
    page.wait_for_url("**/review/")
    page.get_by_role("button", name="Throw the draft away").click()


@pytest.mark.walk
def test_a_normal_review_takes_at_most_nine_taps(open_as):
    page = open_as("idris")
    finger = open_booked(page)
    answer_toe(finger)
    sides = page.locator(".question:has(h3)")
    finger.choose("Regrowth", "None seen", sides.nth(0))
    finger.choose("Symptoms", "No symptoms", sides.nth(0))
    single = sides.count() == 1
    for index in range(1, sides.count()):
        finger.choose("Regrowth", "None seen", sides.nth(index))
        finger.choose("Symptoms", "No symptoms", sides.nth(index))
    finger.choose("Anything else", "None of these")
    finger.tap(page.get_by_role("button", name="Save review"))

    page.get_by_text("Review saved").wait_for()
    assert finger.taps <= 9 + (0 if single else 2)
    take_back(page)


@pytest.mark.walk
def test_an_operation_from_a_template_takes_at_most_thirty_taps(open_as):
    """From the patient's page to the last page before the signature; typing an initial or a batch is not a tap."""
    page = open_as("idris")
    page.goto("/patients/new/")
    register(Pointer(page))
    finger = Finger(page)
    finger.tap(page.get_by_role("link", name="New operation"))
    finger.tap(page.get_by_role("button", name="Partial avulsion, phenol"))
    page.get_by_text("Started from").wait_for()
    finger.choose("Date of the operation", f"Today, {date.today().day} {date.today():%b}")
    finger.choose("Consent given by", "The patient")
    finger.tap(page.locator("[name=toe1-toe][value=right-1]"))
    finger.tap(page.locator("[name=toe1-side][value=fibular]"))
    finger.choose("What is known of the exposure", "Will be timed in the room")
    finger.choose("Infection before", "None")
    finger.choose("Earlier surgery", "No")
    finger.tap(page.locator("label[for=id_template-checked]"))
    finger.tap(page.get_by_role("button", name="Save operation"))
    page.wait_for_url("**/room/")
    for button in ("Injected now", "Block tested now", "Tourniquet on now", "Start application 1", "Stop application",
                   "Tourniquet off now"):  # fmt: skip
        before = page.locator(".times li").count()
        finger.tap(page.get_by_role("button", name=re.compile(f"^{button}")))
        expect(page.locator(".times li")).to_have_count(before + 1)
    finger.tap(page.get_by_role("link", name="End of the operation"))
    finger.choose("Seen off by two people", "Yes")
    page.get_by_label("Initials of the second person").fill("TM")
    finger.choose("Colour of the toe", "Pink")
    page.get_by_label("Capillary refill").fill("2")
    finger.choose("The block", "Effective")
    finger.choose("Dry field", "Yes")
    finger.choose("Tissue sent", "No")
    finger.tap(page.locator("label[for=id_template-checked]"))
    finger.tap(page.get_by_role("button", name="Save and go on"))
    page.wait_for_url("**/sign/")

    assert finger.taps <= 30


@pytest.mark.walk
def test_regrowth_on_both_sides_takes_at_most_fourteen_taps(open_as):
    page = open_as("idris")
    key = both_sides_operation(page)
    finger = Finger(page)
    page.goto(f"/operations/{key}/review/")
    finger.taps += 1  # the tap on Record review that opens the page
    answer_toe(finger)
    sides = page.locator(".question:has(h3)")
    assert sides.count() == 2
    for side in sides.all():
        finger.choose("Regrowth", "Spicule", side)
        finger.choose("Symptoms", "No symptoms", side)
        finger.choose("What was done", "Spicule clipped", side)
    finger.choose("Anything else", "None of these")
    finger.tap(page.get_by_role("button", name="Save review"))

    page.get_by_text("Review saved").wait_for()
    assert finger.taps <= 14
    take_back(page)


def both_sides_operation(page: Page) -> str:
    """An operation on Today with one toe treated on both sides; the page's words say so."""
    page.goto("/today/?all=1")
    for row in page.locator(".work > li:has(.tag:is(.in-window, .late)):has-text('both sides')").all():
        if row.locator(".op strong").count() == 1:
            link = row.locator("a[href*='/operations/']").first.get_attribute("href")
            return link.split("/operations/")[1].split("/")[0]
    raise AssertionError("no operation with one toe treated on both sides on Today")


def test_every_chairside_target_is_large_enough_for_a_glove(open_as):
    page = open_as("idris")
    open_booked(page)

    boxes = [label.bounding_box() for label in page.locator(".choice label:visible").all()]

    assert len(boxes) > 20
    assert min(box["height"] for box in boxes) >= CHAIRSIDE_PX
    assert min(box["width"] for box in boxes) >= CHAIRSIDE_PX


@pytest.mark.walk
def test_a_review_can_be_recorded_without_script(open_as):
    page = open_as("idris", script=False)
    finger = open_booked(page)
    answer_toe(finger)
    for side in page.locator(".question:has(h3)").all():
        finger.choose("Regrowth", "None seen", side)
        finger.choose("Symptoms", "No symptoms", side)
    finger.choose("Anything else", "None of these")
    page.get_by_role("button", name="Save review").click()

    assert page.get_by_text("Review saved").is_visible()
    take_back(page)


@pytest.mark.walk
def test_a_review_can_be_recorded_by_keyboard_alone(open_as):
    page = open_as("idris", width="desktop")
    open_booked(page)
    keys = 0

    def press(key: str) -> None:
        nonlocal keys
        keys += 1
        page.keyboard.press(key)

    page.locator("fieldset input").first.focus()
    for legend, digit in (("Healing", "1"), ("Signs", "1"), ("Antibiotic", "1"), ("Pain", "1")):
        focused = page.evaluate("document.activeElement.closest('fieldset').querySelector('legend').textContent")
        assert legend in focused
        press(digit)
        press("Tab")
    while "Regrowth" in page.evaluate("document.activeElement.closest('fieldset').querySelector('legend').textContent"):
        press("1")
        press("Tab")
        press("1")
        press("Tab")
    press("1")
    press("Control+Enter")

    page.get_by_text("Review saved").wait_for()
    assert keys <= 22
    take_back(page)


@pytest.mark.walk
def test_a_finding_changes_the_audit_by_exactly_that_finding(open_as, demo_server):
    """The practitioner writes down a late-found note about a lost toe; the lead's figures move by one toe."""
    lead = open_as("orla", width="desktop")
    lead.goto("/audit/?unit=toe&outcome=any_regrowth")
    before = figures(lead)
    lead.goto(href(lead, lead.url, "status=lost"))
    toe = href(lead, lead.url, "/toes/")

    page = open_as("idris", width="desktop")
    page.goto(toe)
    surgery = page.locator(".timeline .surgery .when").inner_text().split("\n")[0]
    page.get_by_role("link", name="Record review").click()
    finger = Finger(page)
    page.get_by_label("Date of the review").fill(day_after(surgery, 360))
    for panel in page.locator("section.card:has(.scale)").all():
        finger.choose("Healing", "Healed, dry", panel)
        finger.choose("Signs of infection", "No signs seen", panel)
        finger.choose("Antibiotic since", "No antibiotic", panel)
        finger.choose("Pain today", "0", panel)
        finger.choose("Anything else", "None of these", panel)
        for side in panel.locator(".question:has(h3)").all():
            finger.choose("Regrowth", "Spicule", side)
            finger.choose("Symptoms", "No symptoms", side)
            finger.choose("What was done", "None", side)
    finger.choose("How it came about", "Planned")
    toes = page.locator("section.card:has(.scale)").count()
    page.get_by_role("button", name="Save review").click()
    page.get_by_text("Review saved").wait_for()

    lead.goto("/audit/?unit=toe&outcome=any_regrowth")
    after = figures(lead)
    assert after["events"] - before["events"] == toes
    assert after["ascertained"] - before["ascertained"] == toes
    assert before["lost"] - after["lost"] == toes
    assert after["eligible"] == before["eligible"]
    take_back(page)


def figures(page: Page) -> dict[str, int]:
    """The headline's numbers as the page carries them."""
    card = page.locator("[data-headline]")
    return {name: int(card.get_attribute(f"data-{name}")) for name in ("events", "ascertained", "eligible", "lost")}


def day_after(said: str, days: int) -> str:
    return (datetime.strptime(said.strip(), "%d %b %Y") + timedelta(days=days)).strftime("%Y-%m-%d")
