"""A whole case on a tablet: the tests count its taps, and the README shows where it ends."""

from datetime import date

from playwright.sync_api import Page, expect

from clinic.demo import afterwards, scenario
from clinic.demo.shapes import OperationPlan
from tests.browser.finger import Finger

TEMPLATE = "Partial avulsion, phenol"


def who_comes_today(today: date) -> OperationPlan:
    """The operation of the demo that is prepared for today; its keys come from the plan, like those of the server."""
    plan = scenario.build()
    afterwards.extend(plan, today)
    return plan.prepared[0]


def operate(finger: Finger, planned: OperationPlan, *, seconds: int = 1) -> None:
    """From the page of a new operation to the signed note. Typing is no tap. seconds: how long the agent is left."""
    page = finger.page
    page.goto(f"/patients/{planned.patient.key}/operation/")
    enter(finger, planned)
    in_the_room(finger, seconds)
    close_and_sign(finger)


def enter(finger: Finger, planned: OperationPlan) -> None:
    page, toe = finger.page, planned.toes[0]
    expect(page.get_by_text("Consent and flags")).to_be_visible()
    finger.tap(page.get_by_role("button", name=TEMPLATE))
    finger.tap(page.get_by_role("radio", name="Today"))
    finger.tap(page.get_by_role("radio", name=f"{toe.foot.capitalize()} 1st toe (hallux)"))
    finger.tap(page.get_by_role("radio", name="Fibular (lateral) side"))
    finger.choose("What is known of the exposure", "Will be timed in the room")
    finger.choose("Infection before the operation", "None")
    finger.choose("Earlier surgery on the same side", "No")
    finger.tap(page.get_by_text("What came from the template holds"))
    finger.tap(page.get_by_role("button", name="Save operation"))
    expect(page.get_by_role("heading", level=1)).to_have_text("In the room")


def in_the_room(finger: Finger, seconds: int) -> None:
    page = finger.page
    read_aloud(finger)
    finger.tap(page.get_by_role("link", name="Record anaesthetic"))
    finger.choose("Anaesthetic", "Mepivacaine")
    page.get_by_label("Strength", exact=True).fill("3")
    page.get_by_label("Volume").fill("2,2")
    finger.choose("Vasoconstrictor", "None")
    finger.choose("Way", "Digital block")
    page.get_by_label("Batch").fill("DEMO-MEP-555")
    page.get_by_label("Expiry").fill("2030-05-31")
    finger.tap(page.get_by_role("button", name="Save"))
    tap_time(finger, "Injected now", "Injected")
    tap_time(finger, "Tourniquet on now", "Tourniquet on")
    read_aloud(finger)
    tap_time(finger, "Start application 1", "Application began")
    page.wait_for_timeout(seconds * 1000)
    tap_time(finger, "Stop application", "Application ended")
    tap_time(finger, "Tourniquet off now", "Tourniquet off")
    read_aloud(finger)


def read_aloud(finger: Finger) -> None:
    page = finger.page
    due = page.locator(".due-phase h3")
    name = due.inner_text()
    page.get_by_label("Initials of the second person").fill("TM")
    finger.tap(page.get_by_role("button", name="Read aloud: yes to every line"))
    expect(page.get_by_text(f"{name}: at the time.")).to_be_visible()


def tap_time(finger: Finger, button: str, line: str) -> None:
    page = finger.page
    finger.tap(page.get_by_role("button", name=button))
    expect(page.locator(".times").get_by_text(line).first).to_be_visible()


def close_and_sign(finger: Finger) -> None:
    page = finger.page
    finger.tap(page.get_by_role("link", name="End of the operation"))
    finger.choose("Colour of the toe afterwards", "Pink")
    page.get_by_label("Capillary refill").fill("2")
    page.get_by_label("Batch of the agent").fill("DEMO-PHE-21")
    page.get_by_label("Expiry of the agent").fill("2030-01-31")
    finger.choose("Dry field before the agent", "Yes")
    finger.choose("Tissue sent to histology", "No")
    page.get_by_label("Weight").fill("71")
    finger.tap(page.get_by_text("What came from the template is what was used and done"))
    finger.tap(page.get_by_role("button", name="Save and go on"))
    expect(page.get_by_role("heading", level=1)).to_have_text("Read and sign")
    finger.tap(page.get_by_text("I have read this note and sign it"))
    finger.tap(page.get_by_role("button", name="Sign", exact=True))
    expect(page.get_by_role("heading", level=1)).to_have_text("Operation note")


def sheet(page: Page) -> str:
    """The words of the note."""
    return page.locator(".note-sheet").inner_text()
