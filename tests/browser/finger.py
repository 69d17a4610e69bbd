"""A finger on a tablet, which counts its taps; typing is none."""

import re

from playwright.sync_api import Page


class Finger:
    """Counts what a person taps."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps = page, 0

    def tap(self, locator) -> None:
        self.taps += 1
        locator.click()

    def choose(self, group: str, answer: str, within=None) -> None:
        fieldset = (within or self.page).locator("fieldset", has=self.page.locator("legend", has_text=group)).first
        label = fieldset.locator("label", has_text=re.compile(rf"^\s*{re.escape(answer)}\s*$")).first
        # The button lies over its label, so that the whole tile takes the tap.
        self.tap(self.page.locator(f"[id='{label.get_attribute('for')}']"))
