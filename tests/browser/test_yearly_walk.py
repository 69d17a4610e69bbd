"""The last matured year of the demo from its period to the signed PDF, whose pages are drawn and looked over."""

import re
from io import BytesIO

import pypdfium2
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from clinic.management.commands.demo import PASSWORD as DEMO_PASSWORD
from tests.browser.auditing import QUIET_YEAR, steps_to_sign_off
from tests.browser.hands import Keyboard, Pointer
from tests.browser.test_accessibility import RULES
from tests.browser.work import arrive, menu

pytestmark = pytest.mark.walk
A4 = (595, 842)


@pytest.mark.parametrize("way", ["keyboard", "without script"])
def test_an_audit_year_is_signed(open_as, way, tmp_path):
    by_keyboard = way == "keyboard"
    page = open_as("orla", width="desktop", script=by_keyboard)
    page.set_default_timeout(120_000)
    hand = Keyboard(page) if by_keyboard else Pointer(page)
    page.goto("/")
    hand.activate(menu(page, "Audit"))
    hand.activate(page.get_by_role("link", name="Yearly audit", exact=True))
    arrive(page, "Yearly audit")
    ready = page.get_by_role("row").filter(has_text="ready").filter(has_not_text="ready on")
    hand.activate(ready.first.get_by_role("link", name=re.compile("^Begin")))
    arrive(page, "Period")
    year = int(re.search(r"/audit/(\d{4})/", page.url).group(1))
    assert year > QUIET_YEAR
    steps_to_sign_off(hand, person="Pip Fixture")

    hand.activate(page.get_by_role("link", name="Preview of the report"))
    expect(page.get_by_text("Draft, not signed.")).to_be_visible()
    page.goto(f"/audit/{year}/sign-off/")
    hand.tick(page.get_by_label("I have read the report"))
    hand.fill(page.get_by_label("Your password"), DEMO_PASSWORD)
    hand.activate(page.get_by_role("button", name="Sign the report"))
    expect(page.get_by_text("Report signed and stored.")).to_be_visible(timeout=240_000)
    checksum = page.locator("code.checksum").inner_text()

    hand.activate(page.get_by_role("link", name="Read the report"))
    expect(page.get_by_text(f"Check {checksum[:4]} {checksum[4:8]}")).to_be_visible()
    look_over(page.request.get(f"/audit/{year}/report.pdf").body(), tmp_path)
    if by_keyboard:  # axe is a script
        for address in (f"/audit/{year}/report/", f"/audit/{year}/sign-off/", f"/audit/{year}/changes/?recount=1"):
            page.goto(address)
            found = Axe().run(page, options=RULES).response["violations"]
            assert [(rule["id"], rule["nodes"][0]["target"]) for rule in found] == []
        expect(page.get_by_text("the same, byte for byte")).to_be_visible()


def look_over(body: bytes, folder) -> None:
    """Every page is A4, has ink, and none of it runs off the sheet; the summary is two pages."""
    pdf = pypdfium2.PdfDocument(BytesIO(body))
    texts = [sheet.get_textpage().get_text_range() for sheet in pdf]
    assert [round(side) for side in pdf[0].get_size()] == list(A4)
    appendix = next(
        place for place, text in enumerate(texts) if "Appendix" in text.splitlines()[:4] or "\nAppendix" in text
    )
    assert appendix == 2
    for place, sheet in enumerate(pdf):
        picture = sheet.render(scale=1.5).to_pil().convert("L")
        picture.save(folder / f"page-{place + 1}.png")
        width, height = picture.size
        assert picture.getextrema()[0] < 80, f"page {place + 1} is empty"
        margin = picture.crop((round(width * 0.96), 0, width, height))
        assert margin.getextrema()[0] > 240, f"page {place + 1} runs off the sheet"
    pdf.close()
