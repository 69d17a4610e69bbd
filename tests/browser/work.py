"""Pieces of the daily work that several tests do, by either hand, and what a page says afterwards."""

import itertools
import re
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

from PIL import Image, ImageDraw
from playwright.sync_api import Locator, Page, expect

from clinic.demo.picture import DESCRIPTION, GPS, NOWHERE, PLACE
from tests.browser.hands import Hand

numbers = itertools.count(1)


def register(hand: Hand) -> str:
    """Fills the open form, ends on the patient's page and gives the record number."""
    page, number = hand.page, f"W-{next(numbers):04}"
    arrive(page, "Register a patient")
    hand.fill(page.get_by_label("Family name"), "Walker")
    hand.fill(page.get_by_label("Given name"), number)  # nobody's namesake
    hand.fill_day(page.get_by_label("Born on"), date(1990, 2, 28))
    hand.fill(page.get_by_label("Record number"), number)
    choose = chooser(hand)
    choose("Sex", "Not recorded")
    choose("Diabetes", "Yes")
    for risk in ("Takes a blood thinner", "Poor circulation in the foot", "Immune system suppressed"):
        choose(risk, "No")
    hand.activate(page.get_by_role("button", name="Register"))
    arrive(page, f"{number} Walker")
    return number


def chooser(hand: Hand) -> Callable[[str, str | re.Pattern[str]], None]:
    return lambda question, answer: hand.choose(hand.page.get_by_role("group", name=question), answer)


def menu(page: Page, name: str) -> Locator:
    return page.get_by_role("navigation", name="Main").get_by_role("link", name=name, exact=True)


def arrive(page: Page, heading: str | re.Pattern[str]) -> None:
    expect(page.get_by_role("heading", level=1)).to_have_text(heading)


def fact(page: Page, term: str) -> str:
    """The answer beside a term of a list of facts."""
    pair = page.locator("dl > div").filter(
        has=page.get_by_role("term").filter(has_text=re.compile(f"^{re.escape(term)}$"))
    )
    return pair.get_by_role("definition").inner_text()


def answer_operation(hand: Hand, *, tibial: Sequence[str], fibular: Sequence[str]) -> None:
    """Phenol at both sides of the left big toe, yesterday, with the seconds of each application; does not save."""
    page, choose = hand.page, chooser(hand)
    arrive(page, "New operation")
    choose("Date of the operation", re.compile("^Yesterday"))
    choose("Consent given by", "The patient")
    choose("Which toe?", re.compile("^Left 1st toe"))
    choose("Which part of the nail?", re.compile("^Both sides"))
    choose("Technique", "Partial nail avulsion with chemical matricectomy")
    choose("Agent", "Phenol")
    hand.fill(page.get_by_label("Strength", exact=True), "80,0")
    choose("Strength given as", "% w/w")
    choose("What is known of the exposure", "Each application")
    for side, row in (("tibial (medial)", tibial), ("fibular (lateral)", fibular)):
        for place, seconds in enumerate(row, start=1):
            hand.fill(seconds_of(page, side).get_by_label(str(place), exact=True), seconds)
    choose("Infection before the operation", "None")
    choose("Earlier surgery on the same side", "No")


def seconds_of(page: Page, side: str) -> Locator:
    return page.get_by_role("group", name=f"Seconds of each application, {side} side")


def picture_in(folder: Path) -> Path:
    """A picture file like none before it, that carries a place."""
    carried = Image.Exif()
    carried[DESCRIPTION], carried[GPS] = PLACE, NOWHERE
    picture, file = Image.new("RGB", (400, 300), "salmon"), folder / "toe.jpg"
    ImageDraw.Draw(picture).text((40, 40), str(next(numbers)), fill="black", font_size=120)
    picture.save(file, exif=carried, comment=PLACE)
    return file


def add_photograph(hand: Hand, picture: Path, taken_on: date) -> None:
    """On the open page of a toe, with consent for care; ends on the same page."""
    page, choose = hand.page, chooser(hand)
    hand.activate(page.locator("summary", has_text="Add a photograph"))
    hand.send(page.get_by_label("Picture"), picture)
    choose("Consent given for", "For care only")
    choose("Consent given by", "Parent or guardian")  # of a child of the demo, too, nothing more is asked then
    hand.fill_day(page.get_by_label("Consent given on"), taken_on)
    hand.activate(page.get_by_role("button", name="Save the photograph"))
    expect(page.get_by_text("Photograph saved")).to_be_visible()
