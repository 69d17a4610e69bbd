"""Two ways of using a page: with a pointer, and with a keyboard and nothing else.

Both have the same methods, so that a walk through the work is written once and taken in either way.
"""

from datetime import date, time
from pathlib import Path
from re import Pattern
from typing import Protocol

from playwright.sync_api import Locator, Page, expect

MOST_STOPS = 250  # more than any page has; a walk that comes round again ends here

# Whether the element with the focus can be seen, and shows that it has it (WCAG 2.2, 2.4.7 and 2.4.11).
# A native button may lie invisible over the label that draws it.
OUTSIDE = "lies outside the screen"
FOCUS_AS_SEEN = """() => {
  const element = document.activeElement;
  if (!element || element === document.body || element.matches("main")) return "";
  const drawn = [element, ...(element.labels ?? [])];
  const box = element.getClientRects()[0];
  if (!box) return "has no box";
  const [x, y] = [box.left + box.width / 2, box.top + box.height / 2];
  if (x < 0 || y < 0 || x > innerWidth || y > innerHeight) return "lies outside the screen";
  const top = document.elementFromPoint(x, y);
  const uncovered = drawn.some((each) => each.contains(top) || top?.contains(each));
  if (!uncovered) return `is covered by ${top?.outerHTML.slice(0, 90)}`;
  // The calendar button inside a date field gets its ring from the browser.
  const ringed = element.matches("[type=date]:not(:focus-visible), [type=time]:not(:focus-visible)");
  const shown = drawn.map((each) => getComputedStyle(each)).filter((style) => style.opacity !== "0");
  const marked = ringed || shown.some((style) => style.outlineStyle !== "none");
  return marked ? "" : "does not show that it has the focus";
}"""


class Hand(Protocol):
    """What a person does on a page."""

    page: Page

    def activate(self, link_or_button: Locator) -> None: ...
    def fill(self, field: Locator, text: str) -> None: ...
    def fill_day(self, field: Locator, day: date) -> None: ...
    def fill_time(self, field: Locator, at: time) -> None: ...
    def choose(self, group: Locator, answer: str | Pattern[str]) -> None: ...
    def tick(self, box: Locator) -> None: ...
    def send(self, field: Locator, file: Path) -> None: ...
    def pick(self, list_: Locator, answer: str) -> None: ...


class Pointer:
    """Taps and types."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def activate(self, link_or_button: Locator) -> None:
        link_or_button.click()

    def fill(self, field: Locator, text: str) -> None:
        field.fill(text)

    def fill_day(self, field: Locator, day: date) -> None:
        field.fill(day.isoformat())

    def fill_time(self, field: Locator, at: time) -> None:
        field.fill(f"{at:%H:%M}")

    def choose(self, group: Locator, answer: str | Pattern[str]) -> None:
        group.get_by_role("radio", name=answer, exact=True).check()

    def tick(self, box: Locator) -> None:
        """The words beside a box cover it, so that the whole line takes the tap."""
        self.page.locator(f"label[for='{box.get_attribute('id')}']").click()
        expect(box).to_be_checked()

    def send(self, field: Locator, file: Path) -> None:
        field.set_input_files(file)

    def pick(self, list_: Locator, answer: str) -> None:
        list_.select_option(label=answer)


class Keyboard:
    """Tab, arrows, space, Enter and letters. Every stop on the way must be in view and marked."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def activate(self, link_or_button: Locator) -> None:
        self.go_to(link_or_button)
        self.press("Enter")

    def fill(self, field: Locator, text: str) -> None:
        self.go_to(field)
        self.page.keyboard.type(text)

    def fill_day(self, field: Locator, day: date) -> None:
        """A date field has a part each for month, day and year, in the order of the browser's language."""
        self.fill(field, f"{day:%m%d%Y}")
        expect(field).to_have_value(day.isoformat())

    def fill_time(self, field: Locator, at: time) -> None:
        self.fill(field, f"{at:%I%M%p}")
        expect(field).to_have_value(f"{at:%H:%M}")

    def choose(self, group: Locator, answer: str | Pattern[str]) -> None:
        """Tab into the group, arrows to the answer; the first one is reached without an arrow and takes a space."""
        wanted = group.get_by_role("radio", name=answer, exact=True)
        expect(wanted).to_have_count(1)
        self.go_to(group)
        for _ in range(group.get_by_role("radio").count()):
            if has_focus(wanted):
                break
            self.press("ArrowDown")
        if not wanted.is_checked():
            self.press("Space")
        expect(wanted).to_be_checked()

    def tick(self, box: Locator) -> None:
        self.go_to(box)
        self.press("Space")
        expect(box).to_be_checked()

    def send(self, field: Locator, file: Path) -> None:
        """The field is reached by keyboard; the dialog it opens is the browser's own, where no test can type."""
        self.go_to(field)
        field.set_input_files(file)

    def pick(self, list_: Locator, answer: str) -> None:
        """Letters choose from a list that has the focus."""
        self.go_to(list_)
        self.page.keyboard.type(answer)
        expect(list_.locator("option:checked")).to_have_text(answer)

    def go_to(self, wanted: Locator) -> None:
        """Tab until the element, or something inside it, has the focus."""
        expect(wanted).to_have_count(1)
        for _ in range(MOST_STOPS):
            self.press("Tab")
            if has_focus(wanted):
                return
        raise AssertionError(f"{self.page.url}: Tab does not reach {wanted}")

    def press(self, key: str) -> None:
        self.page.keyboard.press(key)
        if key not in {"Enter", "Space"}:  # these may leave the page
            hidden = self.page.evaluate(FOCUS_AS_SEEN)
            for _ in range(5):  # the browser scrolls to a field of several lines a little after it has the focus
                if hidden != OUTSIDE:
                    break
                self.page.wait_for_timeout(100)
                hidden = self.page.evaluate(FOCUS_AS_SEEN)
            assert not hidden, f"{self.page.url}: what has the focus {hidden}: {focused(self.page)}"


def has_focus(wanted: Locator) -> bool:
    return wanted.evaluate("element => element.contains(document.activeElement)")


def focused(page: Page) -> str:
    return page.evaluate("document.activeElement.outerHTML.slice(0, 200)")
