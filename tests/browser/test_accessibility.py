"""axe with the WCAG 2.2 AA rules on every page, light and dark, at three widths; reflow at 320 px.

Source of the rules: axe-core as shipped by axe-playwright-python; WCAG 2.2 success criteria 1.4.10 and 2.5.8.
"""

import re

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

from tests.browser.pages import PAGES, address_of
from tests.browser.server import WIDTHS

VIOLATIONS = {"resultTypes": ["violations"]}  # what passes is many times as long, and nobody reads it
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
RULES = {**VIOLATIONS, "runOnly": {"type": "tag", "values": TAGS}}
# The dark theme changes colours and nothing else: one style sheet of custom properties.
COLOURS = {**VIOLATIONS, "runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}
# Pages that answer with an error status say so on the console.
ANSWER_WITH_ERROR = {"not found", "refused", "patient's page, unknown link"}


def show_effect(page: Page) -> None:
    page.get_by_label("Note for an exposure above").fill("100")
    page.get_by_role("button", name="Show what this would change").click()
    page.get_by_role("heading", name="What this would change").wait_for()


def start_from_a_template(page: Page) -> None:
    page.get_by_role("button", name="Partial avulsion, phenol").click()
    page.get_by_text("Started from “Partial avulsion, phenol”").wait_for()


def make_the_slip(page: Page) -> None:
    page.get_by_label("12 months").check()
    page.get_by_role("button", name="Make the slip").click()
    page.get_by_role("heading", name="Slip with the patient's link").wait_for()


def send_nothing(page: Page) -> None:
    page.get_by_role("button", name="Send to the practice").click()
    page.get_by_text("Choose a number from 0 to 10").first.wait_for()


def preview_a_schedule(page: Page) -> None:
    page.get_by_label("Target").first.fill("5")
    page.get_by_label("Reason for the change").fill("Tried out")
    page.get_by_role("button", name="Preview the effect").click()
    page.get_by_role("heading", name=re.compile("would move")).wait_for()


def make_an_address(page: Page) -> None:
    page.get_by_role("button", name="Make a new address").click()
    page.get_by_role("heading", name="Your address").wait_for()


# Pages that only a press of a button shows.
AFTER_A_PRESS = {
    "settings, times": show_effect, "new operation": start_from_a_template, "link for a patient": make_the_slip,
    "patient's own page": send_nothing, "review schedule": preview_a_schedule, "calendar": make_an_address,
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(set(PAGES) - ANSWER_WITH_ERROR))
def test_no_violations_and_no_sideways_scroll(open_as, name):
    page = open_as(PAGES[name][0], width="desktop")
    page.goto(address_of(name, page))

    assert complaints_about(page) == []


@pytest.mark.parametrize("name", AFTER_A_PRESS)
def test_no_violations_after_a_press(open_as, name):
    page = open_as(PAGES[name][0], width="desktop")
    page.goto(address_of(name, page))
    AFTER_A_PRESS[name](page)

    assert complaints_about(page) == []


def complaints_about(page: Page) -> list[str]:
    found = []
    page.evaluate(AXE_SCRIPT)
    for width in ("desktop", "tablet", "phone"):
        wide, high = WIDTHS[width]
        page.set_viewport_size({"width": wide, "height": high})
        for theme, rules in (("light", RULES), ("dark", COLOURS)):
            # Without the short fades between colours: on a busy machine axe would measure halfway.
            page.emulate_media(color_scheme=theme, reduced_motion="reduce")
            for rule in page.evaluate("rules => axe.run(rules)", rules)["violations"]:
                places = "; ".join(str(node["target"]) for node in rule["nodes"][:3])
                found.append(f"{width} {theme}: {rule['id']} at {places}")
        over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        if over > 0:
            found.append(f"{width}: {over} px wider than the screen")
    return found
