"""axe with the WCAG 2.2 AA rules on every page, light and dark, at three widths; reflow at 320 px.

Source of the rules: axe-core as shipped by axe-playwright-python; WCAG 2.2 success criteria 1.4.10 and 2.5.8.
"""

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.pages import PAGES, address_of
from tests.browser.server import WIDTHS

RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
# The two pages that answer with an error status say so on the console.
ANSWER_WITH_ERROR = {"not found", "refused"}


@pytest.mark.parametrize("name", sorted(set(PAGES) - ANSWER_WITH_ERROR))
def test_no_violations_and_no_sideways_scroll(open_as, name):
    page = open_as(PAGES[name][0], width="desktop")
    page.goto(address_of(name, page))

    found = []
    for width in ("desktop", "tablet", "phone"):
        wide, high = WIDTHS[width]
        page.set_viewport_size({"width": wide, "height": high})
        for theme in ("light", "dark"):
            page.emulate_media(color_scheme=theme)
            for rule in Axe().run(page, options=RULES).response["violations"]:
                places = "; ".join(str(node["target"]) for node in rule["nodes"][:3])
                found.append(f"{width} {theme}: {rule['id']} at {places}")
        over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        if over > 0:
            found.append(f"{width}: {over} px wider than the screen")

    assert found == []
