"""`python -m tests.browser.take_pictures [FOLDER]`: the pictures of the README, from the running demo."""

import sys
import tempfile
from datetime import date
from pathlib import Path

import django
import pypdfium2
from playwright.sync_api import Browser, sync_playwright

from tests.browser.finger import Finger
from tests.browser.hands import Pointer
from tests.browser.pages import PAGES, address_of
from tests.browser.server import CHROMIUM, FLAGS, ROOT, WIDTHS, running_demo, sign_in

# file name, page, width, theme, pixels shown below the first screen
PICTURES = [
    ("today-desktop", "today", "desktop", "light", 300),
    ("review-tablet", "record review", "tablet", "light", 200),
    ("toe-desktop", "toe", "desktop", "light", 200),
    ("recall-tablet", "recall", "tablet", "light", 300),
    ("pool-desktop", "pooled comparison", "desktop", "light", 900),
    ("audit-desktop", "audit", "desktop", "light", 900),
    ("audit-dark", "audit", "desktop", "dark", 900),
]


def main() -> None:
    django.setup()
    from clinic.management.commands.demo import PASSWORD  # needs the apps

    target = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "fixtures" / "pictures"
    target.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, running_demo(Path(folder)) as address, sync_playwright() as player:
        browser = player.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        for name, page_name, width, theme, more in PICTURES:
            wide, high = WIDTHS[width]
            context = browser.new_context(
                base_url=address,
                viewport={"width": wide, "height": high},
                color_scheme=theme,
                locale="en-GB",
                reduced_motion="reduce",
            )
            page = context.new_page()
            sign_in(page, PAGES[page_name][0], PASSWORD)
            page.goto(address_of(page_name, page))
            page.wait_for_load_state("networkidle")
            page.set_viewport_size({"width": wide, "height": high + more})
            page.wait_for_load_state("networkidle")
            page.screenshot(path=target / f"{name}.png")
            print(target / f"{name}.png")
            context.close()
        take_the_note(browser, address, PASSWORD, target / "note-tablet.png")
        take_the_audit(browser, address, PASSWORD, target)


def take_the_audit(browser: Browser, address: str, password: str, target: Path) -> None:
    """The standards of an audit year, and the first page of its signed report."""
    from tests.browser.auditing import prepared_audit

    wide, high = WIDTHS["desktop"]
    page = browser.new_context(base_url=address, viewport={"width": wide, "height": high}, locale="en-GB").new_page()
    page.set_default_timeout(240_000)
    sign_in(page, "orla", password)
    year = prepared_audit(page)
    page.goto(f"{year}standard/")
    page.screenshot(path=target / "audit-standard.png")
    print(target / "audit-standard.png")
    page.goto(f"{year}sign-off/")
    Pointer(page).tick(page.get_by_label("I have read the report"))
    page.get_by_label("Your password").fill(password)
    page.get_by_role("button", name="Sign the report").click()
    page.get_by_text("Report signed and stored.").wait_for()
    report = pypdfium2.PdfDocument(page.request.get(f"{year}report.pdf").body())
    report[0].render(scale=1.5).to_pil().save(target / "report-page.png", optimize=True)
    report.close()
    print(target / "report-page.png")
    page.context.close()


def take_the_note(browser: Browser, address: str, password: str, target: Path) -> None:
    """The signed note at the end of a whole case."""
    from tests.browser.case import operate, who_comes_today  # needs the apps

    planned, (wide, high) = who_comes_today(date.today()), WIDTHS["tablet"]
    page = browser.new_context(base_url=address, viewport={"width": wide, "height": high}, locale="en-GB").new_page()
    sign_in(page, planned.operator, password)
    operate(Finger(page), planned, seconds=30)
    page.set_viewport_size({"width": wide, "height": high + 300})
    page.wait_for_load_state("networkidle")
    page.screenshot(path=target)
    print(target)
    page.context.close()


if __name__ == "__main__":
    main()
