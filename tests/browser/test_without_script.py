"""The practitioner's and the receptionist's work with scripts blocked, and the same forms filled by keyboard."""

from datetime import date, timedelta

from playwright.sync_api import Page

from tests.browser.pages import href


def choose(page: Page, name: str, value: str) -> None:
    page.locator(f"input[name='{name}'][value='{value}']").check()


def test_from_registration_to_the_first_review(open_as):
    page = open_as("idris", width="desktop", script=False)
    register(page, "NS-0001")
    page.get_by_role("link", name="New operation").click()
    fill_operation(page)
    page.get_by_role("button", name="Save operation").click()
    assert page.get_by_text("Operation saved").is_visible()
    assert page.locator("h1").inner_text() == "Left 1st toe (hallux), tibial (medial) side"

    page.get_by_role("button", name="Undo").click()
    assert page.get_by_text("Operation saved").count() == 0


def register(page: Page, number: str) -> None:
    page.goto("/patients/new/")
    page.get_by_label("Family name").fill("Scriptless")
    page.get_by_label("Born on").fill("1990-02-28")
    page.get_by_label("Record number").fill(number)
    choose(page, "sex", "not_recorded")
    for risk in ("diabetes", "antithrombotic", "poor_circulation", "immunosuppressed"):
        choose(page, risk, "no")
    page.get_by_role("button", name="Register").click()
    assert page.locator("h1").inner_text() == "Scriptless"


def fill_operation(page: Page) -> None:
    answers = {
        "visit-consent_given_by": "patient",
        "toe1-toe": "left-1",
        "toe1-side": "tibial",
        "toe1-technique": "pna_chemical",
        "toe1-agent": "phenol",
        "toe1-strength_basis": "w_w",
        "toe1-exposure": "each",
        "toe1-infection_before": "none",
        "toe1-prior_surgery": "no",
    }
    page.locator("input[name='visit-when']").nth(0).check()
    for name, value in answers.items():
        choose(page, name, value)
    page.locator("input[name='toe1-strength_percent']").fill("80,0")
    page.locator("input[name='toe1-seconds_1']").fill("60")


def test_reception_logs_a_contact_and_books(open_as):
    page = open_as("pip", script=False)
    page.goto(href(page, "/today/", "/contact/$"))
    choose(page, "channel", "phone")
    choose(page, "result", "no_answer")
    page.get_by_role("button", name="Log the contact").click()
    assert page.get_by_text("Contact logged. Next try").is_visible()

    page.goto(href(page, "/today/", "/book/$"))
    page.get_by_label("Date").fill((date.today() + timedelta(days=2)).isoformat())
    page.get_by_label("Time").fill("11:10")
    page.get_by_role("button", name="Book").click()
    assert page.get_by_text("Review booked for").is_visible()


def test_the_lead_reads_the_audit(open_as):
    page = open_as("orla", width="desktop", script=False)
    page.goto("/audit/")
    known = int(page.locator("[data-headline]").get_attribute("data-ascertained"))
    page.locator("[data-headline] a").nth(1).click()

    assert page.locator("tbody tr").count() == known
