"""The daily work from the first page to the saved record: by keyboard alone, and with scripts blocked.

Source: WCAG 2.2, 2.1.1 (everything by keyboard), 2.4.1 (skip to the content), 2.4.7 and 2.4.11 (focus is seen).
"""

import re
from collections.abc import Callable
from datetime import date, time, timedelta
from io import BytesIO

import pytest
from PIL import Image
from playwright.sync_api import expect

from clinic.demo.picture import PLACE
from clinic.management.commands.demo import PASSWORD as DEMO_PASSWORD
from tests.browser.hands import Hand, Keyboard, Pointer
from tests.browser.pages import first_toe
from tests.browser.work import (
    add_photograph,
    answer_operation,
    arrive,
    chooser,
    fact,
    menu,
    picture_in,
    register,
    seconds_of,
)

pytestmark = pytest.mark.walk


@pytest.fixture(params=["keyboard", "without script"])
def hand_of(request, open_as) -> Callable[..., Hand]:
    """A member's hand on their first page; nobody's on the page for signing in."""

    def on_first_page(username: str | None, **more) -> Hand:
        by_keyboard = request.param == "keyboard"
        page = open_as(username, width="desktop", script=by_keyboard, **more)
        page.goto("/")
        return Keyboard(page) if by_keyboard else Pointer(page)

    return on_first_page


def test_the_first_stop_of_a_keyboard_skips_to_the_content(open_as):
    page = open_as("idris")
    page.goto("/today/")
    keyboard = Keyboard(page)

    keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    keyboard.press("Enter")
    expect(page.get_by_role("main")).to_be_focused()
    keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('main') !== null")


def test_a_member_signs_in_and_out(hand_of):
    hand = hand_of(None, foreseen=["Cleared data types"])
    page = hand.page
    sign_in(hand, "theo", "not-the-password")
    expect(page.get_by_role("heading", name="You are not signed in")).to_be_visible()
    sign_in(hand, "theo", DEMO_PASSWORD)
    expect(page.get_by_role("heading", name="Booked today")).to_be_visible()

    hand.activate(page.locator("summary", has_text="Theo Mockup"))
    hand.activate(page.get_by_role("button", name="Sign out"))
    arrive(page, "Sign in")
    page.goto("/today/")
    arrive(page, "Sign in")


def sign_in(hand: Hand, username: str, password: str) -> None:
    arrive(hand.page, "Sign in")
    hand.fill(hand.page.get_by_label("Sign-in name"), username)
    hand.fill(hand.page.get_by_label("Password", exact=True), password)
    hand.activate(hand.page.get_by_role("button", name="Sign in"))


def test_a_patient_is_registered(hand_of):
    hand = hand_of("idris")
    page = hand.page
    hand.activate(menu(page, "Patients"))
    arrive(page, "Patients")
    hand.activate(page.get_by_role("link", name="Register a patient"))
    number = register(hand)

    assert fact(page, "Record number") == number
    assert fact(page, "Born").startswith("28 Feb 1990")
    assert fact(page, "Diabetes") == "Yes"
    assert fact(page, "Poor circulation in the foot") == "No"


def test_an_operation_on_both_sides_of_a_toe_is_recorded(hand_of):
    hand = hand_of("idris")
    page = hand.page
    page.goto("/patients/new/")
    register(hand)
    hand.activate(page.get_by_role("link", name="New operation"))
    answer_operation(hand, tibial=("60", "60", "45"), fibular=("50", "40"))
    hand.activate(page.get_by_role("button", name="Save operation"))

    arrive(page, re.compile(r"^Left 1st toe \(hallux\)"))
    expect(page.get_by_text("Operation saved")).to_be_visible()
    hand.activate(page.get_by_role("link", name="Open operation"))
    arrive(page, re.compile("^Operation of"))
    assert fact(page, "Tibial (medial) side") == "60 + 60 + 45 = 165 s"
    assert fact(page, "Fibular (lateral) side") == "50 + 40 = 90 s"
    assert fact(page, "Agent") == "Phenol, 80 % w/w"
    hand.activate(page.get_by_role("button", name="Undo"))
    arrive(page, "New operation")
    expect(seconds_of(page, "tibial (medial)").get_by_label("3", exact=True)).to_have_value("45")
    hand.activate(page.get_by_role("button", name="Throw the draft away"))
    hand.activate(page.get_by_role("link", name="History"))
    expect(page.get_by_text("No operation is recorded yet.")).to_be_visible()


def test_a_photograph_with_consent_is_seen_on_the_toe_and_deleted_when_consent_is_withdrawn(hand_of, tmp_path):
    hand = hand_of("idris")
    page, toe = hand.page, first_toe(hand.page)
    page.goto(toe)
    before = page.locator("a.photograph-preview").count()
    add_photograph(hand, picture_in(tmp_path), date.today())

    seen = page.locator(".photograph-list li", has=page.locator("img")).first
    expect(seen.get_by_role("heading")).to_contain_text(f"{date.today().day} {date.today():%b %Y}")
    expect(seen).to_contain_text("Consent for care only, given by parent or guardian on")
    preview = seen.get_by_role("img")
    preview.scroll_into_view_if_needed()
    page.wait_for_function("document.querySelector('.photograph-list img').naturalWidth > 0")
    hand.activate(seen.get_by_role("link", name=re.compile("^Full size")))
    arrive(page, re.compile("^Photograph of"))
    kept = page.request.get(page.get_by_role("link", name="The picture alone").get_attribute("href")).body()
    assert PLACE.encode() not in kept
    assert not Image.open(BytesIO(kept)).getexif()

    hand.activate(page.get_by_role("link", name="Consent withdrawn: delete the picture"))
    hand.fill(page.get_by_label("Reason"), "The patient asked for it")
    hand.tick(page.get_by_label("Delete the picture for good"))
    hand.activate(page.get_by_role("button", name="Delete the picture"))
    page.wait_for_url(f"**{toe}")
    expect(page.locator(".photograph-list li").first).to_contain_text("Picture deleted")
    expect(page.locator("a.photograph-preview")).to_have_count(before)


def test_a_contact_is_logged(hand_of):
    hand = hand_of("pip")
    page = hand.page
    hand.activate(page.get_by_role("link", name="Log a contact").first)
    arrive(page, "Log a contact")
    where = page.url
    before = page.get_by_text("Phone · No answer").count()
    choose = chooser(hand)
    choose("How", "Phone")
    choose("What came of it", "No answer")
    hand.activate(page.get_by_role("button", name="Log the contact"))

    expect(page.get_by_text("Contact logged. Next try")).to_be_visible()
    page.goto(where)
    expect(page.get_by_text("Phone · No answer")).to_have_count(before + 1)


def test_a_review_is_booked(hand_of):
    day = date.today() + timedelta(days=2)
    hand = hand_of("pip")
    page = hand.page
    hand.activate(page.get_by_role("link", name=re.compile("^Book ·")).first)
    arrive(page, "Book a review")
    where = page.url
    hand.fill_day(page.get_by_label("Date"), day)
    hand.fill_time(page.get_by_label("Time"), time(15, 10))
    hand.activate(page.get_by_role("button", name="Book", exact=True))

    expect(page.get_by_text("Review booked for")).to_be_visible()
    page.goto(where)
    expect(page.get_by_text(f"{day:%A} {day.day} {day:%b %Y}, 15:10")).to_be_visible()


def test_a_setting_is_looked_at_before_it_is_saved(hand_of):
    hand = hand_of("orla")
    page = hand.page
    hand.activate(menu(page, "Settings"))
    hand.activate(page.get_by_role("link", name="Times that ask for a note"))
    arrive(page, "Times that ask for a note")
    field = page.get_by_label("Note for an exposure below")
    before = field.input_value()
    less = "44" if before == "45" else "45"
    if before:
        field.clear()
    hand.fill(field, less)
    hand.activate(page.get_by_role("button", name="Show what this would change"))

    effect = page.get_by_role("region", name="What this would change")
    expect(effect.get_by_role("row").last).to_contain_text(f"{less} s")
    expect(effect).to_contain_text("treated sides with a recorded exposure")
    hand.fill(page.get_by_label("Reason for the change"), "Tried out")
    hand.activate(page.get_by_role("button", name="Save these settings"))
    expect(page.get_by_text("Saved: Times that ask for a note.")).to_be_visible()
    expect(page.get_by_role("region", name="History of these settings")).to_contain_text("Orla Testwell: Tried out")
    expect(field).to_have_value(less)


def test_an_operation_is_started_from_a_template(hand_of):
    hand = hand_of("idris")
    page, choose = hand.page, chooser(hand)
    page.goto("/patients/new/")
    register(hand)
    hand.activate(page.get_by_role("link", name="New operation"))
    arrive(page, "New operation")
    hand.activate(page.get_by_role("button", name="Partial avulsion, phenol"))
    expect(page.get_by_text("Started from “Partial avulsion, phenol”")).to_be_visible()
    expect(page.get_by_text("From the template.", exact=True)).to_have_count(5)
    choose("Date of the operation", re.compile("^Today"))
    choose("Consent given by", "The patient")
    choose("Which toe?", re.compile("^Right 1st toe"))
    choose("Which part of the nail?", re.compile("^Fibular"))
    choose("What is known of the exposure", "Will be timed in the room")
    choose("Lavage", "Saline")
    choose("Infection before the operation", "None")
    choose("Earlier surgery on the same side", "No")
    hand.tick(page.get_by_label("What came from the template holds"))
    hand.activate(page.get_by_role("button", name="Save operation"))

    arrive(page, "In the room")
    page.goto(page.url.replace("/room/", "/"))
    assert fact(page, "Started from") == "template “Partial avulsion, phenol”"
    assert fact(page, "Agent") == "Phenol, 89 % w/w"
    assert fact(page, "Lavage") == "Saline"
    hand.activate(page.get_by_role("button", name="Undo"))
    arrive(page, "New operation")
    hand.activate(page.get_by_role("button", name="Throw the draft away"))


def test_the_records_behind_a_number_of_the_audit_are_read(hand_of):
    hand = hand_of("orla")
    page = hand.page
    hand.activate(menu(page, "Audit"))
    headline = page.get_by_role("region", name="Headline")
    link = headline.get_by_role("link", name=re.compile("known"))
    known = int(re.match(r"\d+", link.inner_text()).group())
    hand.activate(link)

    rows = page.get_by_role("row").filter(has=page.get_by_role("rowheader"))
    expect(rows).to_have_count(known)
    toe = rows.first.get_by_role("link")
    where = toe.get_attribute("href")
    hand.activate(toe)
    page.wait_for_url(f"**{where}")
    expect(page.get_by_role("heading", name="How it counts in the audit")).to_be_visible()
