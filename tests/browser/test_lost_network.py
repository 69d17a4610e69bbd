"""Taps of a running operation while the network is away: kept in order, sent once, also after a new sign-in."""

import json
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from clinic.management.commands.demo import PASSWORD
from tests.browser.hands import Pointer
from tests.browser.pages import KEY, href
from tests.browser.server import sign_in
from tests.browser.work import answer_operation, register

NO_NETWORK = ["ERR_INTERNET_DISCONNECTED", "Failed to load resource"]


@pytest.fixture
def room(open_as: Callable[..., Page]) -> Page:
    """The room of an operation recorded for this test."""
    page = open_as("idris", foreseen=NO_NETWORK)
    page.goto("/patients/new/")
    register(Pointer(page))
    page.goto(f"{page.url}operation/")
    answer_operation(Pointer(page), tibial=("60",), fibular=("60",))
    page.get_by_role("button", name="Save operation").click()
    page.get_by_text("Operation saved").wait_for()
    operation = href(page, page.url, f"/operations/{KEY}/$")
    page.goto(f"{operation}room/")
    return page


def tap(page: Page, words: str) -> None:
    page.get_by_role("button", name=words).click()


def test_a_start_and_its_end_wait_and_arrive_in_order(room):
    room.context.set_offline(True)
    tap(room, "Tourniquet on now")
    expect(room.get_by_role("status").filter(has_text="1 time waiting on this device")).to_be_visible()
    tap(room, "Tourniquet off now")
    expect(room.get_by_role("status").filter(has_text="2 times waiting on this device")).to_be_visible()

    room.context.set_offline(False)

    times = room.get_by_role("region", name="Times on record").get_by_role("listitem")
    expect(times).to_have_count(2)
    expect(times.nth(0)).to_contain_text("Tourniquet on")
    expect(times.nth(1)).to_contain_text("Tourniquet off")


def test_taps_survive_a_new_sign_in_and_are_sent_from_today(room):
    address = room.url
    room.context.set_offline(True)
    tap(room, "Injected now")
    expect(room.get_by_role("status").filter(has_text="waiting")).to_be_visible()
    room.context.clear_cookies()
    room.context.set_offline(False)
    expect(room.get_by_role("status").filter(has_text="you are signed out")).to_be_visible()

    with room.expect_response(lambda answer: answer.url.endswith("/tap/") and answer.ok):
        sign_in(room, "idris", PASSWORD)

    reader = room.context.new_page()
    reader.goto(address)
    expect(reader.get_by_role("region", name="Times on record").get_by_role("listitem")).to_have_count(1)


def test_a_refused_tap_is_told_and_does_not_hold_up_the_next(room):
    room.context.set_offline(True)
    tap(room, "Injected now")
    taps = json.loads(room.evaluate("localStorage.getItem('waiting-taps')"))
    nowhere = {"words": "Lost", "url": "/operations/zzzzzzzzzzzz/tap/", "fields": taps[0]["fields"] | {"tap": "x" * 24}}
    room.evaluate("taps => localStorage.setItem('waiting-taps', taps)", json.dumps([taps[0] | nowhere, *taps]))
    room.context.set_offline(False)

    expect(room.get_by_role("status").filter(has_text="Lost")).to_contain_text("was not kept")
    expect(room.get_by_role("region", name="Times on record").get_by_role("listitem")).to_have_count(1)
