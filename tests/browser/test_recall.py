"""Nobody lost: the recall list worked until it is empty, the taps it takes, and the patient's own page.

On a server of its own, since it ends with everybody seen.
"""

import re
from collections.abc import Callable, Iterator
from datetime import date, datetime
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.browser.pages import href
from tests.browser.server import running_demo, signed_in_states
from tests.browser.test_chairside import Finger
from tests.browser.work import arrive

pytestmark = pytest.mark.walk
MOST_ROWS = 40


@pytest.fixture(scope="module")
def demo_server(tmp_path_factory, stock) -> Iterator[str]:
    with running_demo(tmp_path_factory.mktemp("recall"), stock) as address:
        yield address


@pytest.fixture(scope="module")
def signed_in_state(browser: Browser, demo_server: str) -> Callable[[str], dict]:
    return signed_in_states(browser, demo_server)


def new_link(page: Page, toes: int = 1) -> str:
    """The address of a new link to somebody with so many operated toes, as reception prints it."""
    page.goto("/recall/?show=outcome")
    rows = page.locator(".recall-rows > li")
    keys = [
        row.locator("input[name=pick]").get_attribute("value")
        for row in rows.all()
        if row.locator(".op strong").count() == toes
    ]
    page.goto(f"/operations/{keys[0]}/link/")
    page.get_by_label("12 months").check()
    page.get_by_role("button", name="Make the slip").click()
    return urlsplit(page.locator(".slip .address").inner_text()).path


@pytest.mark.parametrize(("start", "heading"), [("/recall/?show=outcome", "Recall"), ("/today/", "Today")])
def test_no_answer_takes_four_taps(open_as, start, heading):
    page = open_as("pip")
    page.goto(start)
    finger = Finger(page)
    finger.tap(page.get_by_role("link", name="Log a contact").first)
    finger.choose("How", "Phone")
    finger.choose("What came of it", "No answer")
    finger.tap(page.get_by_role("button", name="Log the contact"))

    expect(page.get_by_text("Contact logged")).to_be_visible()
    assert finger.taps == 4
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_text("is taken back.")).to_be_visible()


@pytest.mark.parametrize(("toes", "most", "script"), [(1, 6, False), (2, 10, True)])
def test_a_patient_reports_in_a_few_taps_on_a_small_phone(open_as, toes, most, script):
    """Four answers for each toe, whether to be called, and send; on 320 px, signed in nowhere."""
    address = new_link(open_as("pip"), toes)
    page = open_as(None, width="phone", script=script)
    page.goto(address)
    finger = Finger(page)
    asked = page.locator("form fieldset:has(input[type=radio])").all()  # a sign is ticked only by who has it
    for question in asked:
        if question.is_visible():
            finger.tap(question.get_by_role("radio").first)
    finger.tap(page.get_by_role("button", name="Send to the practice"))

    expect(page.get_by_role("heading", level=1)).to_have_text("Your answers are sent")
    assert finger.taps <= most
    page.goto(address)
    expect(page.get_by_role("heading", level=1)).to_have_text("Your answers are sent")


def test_the_patients_page_can_be_read_in_large_letters_on_a_small_phone(open_as):
    """Twice the letters on the narrowest phone: nothing is cut off, and opening spends nothing (WCAG 2.2, 1.4.4)."""
    address = new_link(open_as("pip"))
    page = open_as(None, width="phone")
    page.context.new_cdp_session(page).send("Page.setFontSizes", {"fontSizes": {"standard": 32, "fixed": 26}})
    page.goto(address)

    assert page.evaluate("getComputedStyle(document.documentElement).fontSize") == "32px"
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    for button in page.get_by_role("radio").all():
        assert button.locator("xpath=..").evaluate("each => each.scrollWidth <= each.clientWidth + 1")
    first = page.locator("main h1, main h2, main a[href^='tel:']").all_inner_texts()
    assert first[1].startswith("Is the toe hot"), "warning signs come first"
    assert first[2] == "01632 960999"
    page.reload()
    expect(page.get_by_role("button", name="Send to the practice")).to_be_visible()


def test_a_warning_answer_is_on_top_of_today_the_same_moment(open_as):
    page = open_as("pip")
    address = new_link(page)
    patient = open_as(None, width="phone")
    patient.goto(address)
    groups = patient.locator("form fieldset:has(input[type=radio])").all()
    for question in groups:
        if question.is_visible():
            question.get_by_role("radio").first.check()
    fluid = patient.get_by_role("group", name="Is there any fluid on the toe?")
    fluid.get_by_role("radio", name="Yellow or smelly").check()
    patient.get_by_role("button", name="Send to the practice").click()
    expect(patient.get_by_role("heading", level=1)).to_have_text("Your answers are sent")

    clinician = open_as("idris")
    clinician.goto("/today/")
    first = clinician.locator("#warnings").locator("xpath=following::ul[1]/li").first
    expect(first).to_contain_text("Warning: yellow or smelly fluid")
    first.get_by_role("link", name=re.compile("^Open report")).click()
    expect(clinician.get_by_role("heading", name="As the patient answered")).to_be_visible()


def test_the_recall_list_is_worked_until_nobody_is_left(open_as):
    """Completeness of the open windows becomes 100 %, and the bounds close."""
    lead, page = open_as("orla"), open_as("idris")
    before, best_before, wide_before = outlook(lead)
    assert before["lost"] > 5
    assert best_before[1] > best_before[0]
    rows = number_of_rows(page)

    for _ in range(MOST_ROWS):
        page.goto("/recall/?show=outcome")
        record = page.get_by_role("link", name=re.compile("^Record review"))
        if not record.count():
            break
        record.first.click()
        see_well(page)

    assert rows <= MOST_ROWS
    page.goto("/recall/?show=outcome")
    expect(page.locator(".recall-rows > li")).to_have_count(0)
    after, best_after, wide_after = outlook(lead)
    assert after == {"open": before["open"], "known": before["open"], "lost": 0}
    expect(lead.locator(".headline .rate")).to_have_text(re.compile(r"^100\.0\s%$"))
    assert best_after[0] == best_after[1] == best_before[0]
    assert wide_after < wide_before


def number_of_rows(page: Page) -> int:
    page.goto("/recall/?show=outcome")
    count = page.locator(".recall-rows > li").count()
    assert count > 5
    return count


def outlook(page: Page) -> tuple[dict[str, int], tuple[int, int], float]:
    """Sides with an open window; their best and worst case; how wide the bounds of the year are, in per cent."""
    page.goto("/audit/outlook/")
    head = page.locator("[data-open]")
    sides = {name: int(head.get_attribute(f"data-{name}") or "") for name in ("open", "known", "lost")}
    low, high = re.search(r"(\d+) to (\d+) of \d+ have the event", head.inner_text()).groups()
    cell = page.get_by_role("row", name=re.compile("^Best to worst case")).get_by_role("cell").first.inner_text()
    best, worst = (float(number) for number in re.findall(r"[\d.]+", cell))
    return sides, (int(low), int(high)), worst - best


def see_well(page: Page) -> None:
    """A review in person in which every toe and side is well."""
    for toe in toes_on(page):
        answer(page, toe, "None seen")
    page.get_by_role("button", name="Save review").click()
    if page.locator("#confirm-head").count():  # the patient reported today, too
        page.locator("label[for='id_confirm-confirmed']").click()
        page.get_by_label("Reason", exact=True).fill("Seen after the report")
        page.get_by_role("button", name="Save review").click()
    saved(page)


def saved(page: Page) -> None:
    """Fails at once, with the words on the page, if an answer is missing."""
    expect(page.get_by_text("Review saved").or_(page.locator(".error-summary")).first).to_contain_text("Review saved")


def toes_on(page: Page) -> list[Locator]:
    arrive(page, re.compile("review|redress", re.IGNORECASE))
    return page.locator("section.card[aria-labelledby^='toe-']").all()


def answer(page: Page, toe: Locator, regrowth: str) -> None:
    finger = Finger(page)
    for question, said in (("Healing", "Healed, dry"), ("Signs of infection", "No signs seen"),
                           ("Antibiotic since", "No antibiotic"), ("Pain today", "0")):  # fmt: skip
        finger.choose(question, said, toe)
    for side in toe.locator(".question:has(h3)").all():
        finger.choose("Regrowth", regrowth, side)
        finger.choose("Symptoms", "No symptoms" if regrowth == "None seen" else "Sore or catching", side)
        if regrowth != "None seen":
            finger.choose("What was done", "None", side)
    finger.choose("Anything else", "None of these", toe)


def test_a_closed_window_stays_lost_and_a_late_finding_is_named(open_as):
    page, lead = open_as("idris"), open_as("orla")
    row = closed_row(page)
    key = row.locator("a[href*='/close/']").get_attribute("href").split("/")[2]
    page.goto(f"/operations/{key}/review/")
    lost_before, late_before = audit_of(lead, page, key)
    page.goto(f"/operations/{key}/review/")
    toes = toes_on(page)
    for toe in toes:
        answer(page, toe, "Spicule")
    Finger(page).choose("How it came about", "The patient asked")
    page.get_by_role("button", name="Save review").click()
    saved(page)

    lost, late = audit_of(lead, page, key)
    assert lost == lost_before
    assert late > late_before
    page.goto(href(page, f"/operations/{key}/", "/toes/"))
    words = page.get_by_role("region", name="How it counts in the audit")
    expect(words).to_contain_text("lost so far")
    expect(words).to_contain_text(re.compile(r"first seen on day \d+, after the window"))


def closed_row(page: Page) -> Locator:
    page.goto("/recall/?show=close")
    over = page.locator(".recall-rows > li", has_text="Window over").filter(has=page.locator(".op strong"))
    return over.first


def audit_of(lead: Page, page: Page, key: str) -> tuple[int, int]:
    """Lost and late sides among the operations of that operation's day."""
    page.goto(f"/operations/{key}/")
    said = page.get_by_role("heading", level=1).inner_text().removeprefix("Operation of ")
    day = datetime.strptime(said, "%d %b %Y").date()
    dates = f"performed_from={day}&performed_to={day}&as_of={date.today()}"
    lead.goto(f"/audit/?{dates}&unit=side&outcome=any_regrowth&bands=30,60")
    head = lead.locator("[data-headline]")
    late = re.search(r"(\d+)\s+first seen after the window", head.inner_text())
    return int(head.get_attribute("data-lost") or ""), int(late.group(1)) if late else 0
