"""Two people at the same record: nothing is overwritten unseen and nothing is stored twice."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.hands import Pointer
from tests.browser.work import answer_operation, arrive, fact, register

pytestmark = pytest.mark.walk
OUTCOME = re.compile("Operation saved|is already recorded")


@pytest.fixture
def patient(open_as) -> str:
    """The address of a patient registered for this test."""
    page = open_as("idris")
    page.goto("/patients/new/")
    register(Pointer(page))
    return page.url


def test_the_second_of_two_changes_sees_the_first_one(open_as, patient):
    first, second = open_as("idris"), open_as("pip", foreseen=["status of 409"])
    for page in (first, second):
        page.goto(f"{patient}change/")
    change_phone(first, "01632 960111")
    arrive(first, re.compile("Walker$"))
    change_phone(second, "01632 960222")

    expect(second.get_by_role("heading", name="Idris Placeholder changed this")).to_be_visible()
    difference = second.get_by_role("row", name="Phone")
    expect(difference.get_by_role("cell")).to_have_text(["01632 960111", "01632 960222"])
    first.reload()
    assert fact(first, "Phone") == "01632 960111"

    second.get_by_role("button", name="Save changes").click()
    arrive(second, re.compile("Walker$"))
    assert fact(second, "Phone") == "01632 960222"


def change_phone(page: Page, number: str) -> None:
    page.get_by_label("Phone").fill(number)
    page.get_by_label("Reason for the change").fill(f"New number {number}")
    page.get_by_role("button", name="Save changes").click()


def test_two_who_save_the_same_toe_at_the_same_moment_make_one_operation(open_as, patient):
    pages = [open_as("idris"), open_as("wanda")]
    for page in pages:
        page.goto(f"{patient}operation/")
        answer_operation(Pointer(page), tibial=("60",), fibular=("60",))
    for page in pages:  # leaves at once, without waiting for the answer as a click would
        page.evaluate("setTimeout(() => document.querySelector('.save-bar .main').click())")

    said = [outcome(page) for page in pages]
    assert sorted(said) == ["Operation saved", "is already recorded"]
    reader = pages[0]
    reader.goto(patient)
    toes = reader.get_by_role("region", name="Toes", exact=True)
    expect(toes.get_by_role("link")).to_have_count(1)


def outcome(page: Page) -> str:
    found = page.get_by_text(OUTCOME).first
    expect(found).to_be_visible()
    return OUTCOME.search(found.inner_text()).group()
