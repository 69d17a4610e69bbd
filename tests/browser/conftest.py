"""A real server on the demo data, in a process of its own, and a real browser on it.

The server has its own database, so that a test sees what a person would see after `make run`.
"""

import os
from collections.abc import Callable, Collection, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.server import CHROMIUM, FLAGS, WIDTHS, running_demo, signed_in_states

# The browser's driver leaves an event loop running in the test process; database tests that follow it there are
# ordinary synchronous code all the same.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
# As long as the driver waits for a tap: a busy machine is slow, not wrong.
expect.set_options(timeout=30_000)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)
            if not CHROMIUM:
                item.add_marker(
                    pytest.mark.skip(
                        reason="No Chromium on this machine: install Debian's package chromium-headless-shell"
                    )
                )


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, object]:
    # One language wherever the tests run: it decides in which order a date field takes its digits.
    return {"executable_path": CHROMIUM, "args": FLAGS, "env": {**os.environ, "LANGUAGE": "en_US"}}


@pytest.fixture(scope="session")
def stock(tmp_path_factory) -> Path:
    """A folder that all test processes of this run share."""
    own = tmp_path_factory.getbasetemp()
    return (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "stock"


@pytest.fixture(scope="session")
def demo_server(tmp_path_factory, stock) -> Iterator[str]:
    """The address of a server on freshly loaded demo data."""
    with running_demo(tmp_path_factory.mktemp("demo"), stock) as address:
        yield address


@pytest.fixture(scope="session")
def signed_in_state(browser: Browser, demo_server: str) -> Callable[[str], dict]:
    """Cookies of a demo member, signed in once per run through the sign-in page."""
    return signed_in_states(browser, demo_server)


@pytest.fixture
def open_as(browser: Browser, demo_server: str, signed_in_state) -> Iterator[Callable[..., Page]]:
    """A page of a demo member; anything on the console or any failed request fails the test.

    foreseen: parts of what the browser itself will note on the console, such as a refusal the test provokes.
    """
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def complain(text: str, foreseen: Collection[str] = ()) -> None:
        if not any(part in text for part in ("net::ERR_ABORTED", *foreseen)):
            complaints.append(text)

    def opened(
        username: str | None,
        *,
        width: str = "tablet",
        dark: bool = False,
        script: bool = True,
        foreseen: Collection[str] = (),
        **more,
    ) -> Page:
        wide, high = WIDTHS[width]
        context = browser.new_context(
            base_url=demo_server,
            viewport={"width": wide, "height": high},
            color_scheme="dark" if dark else "light",
            java_script_enabled=script,
            reduced_motion="reduce",
            storage_state=signed_in_state(username) if username else None,
            **more,
        )
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: complain(f"{page.url}: {message.text}", foreseen))
        page.on("pageerror", lambda error: complain(f"{page.url}: {error}"))
        page.on("requestfailed", lambda request: complain(f"{request.url}: {request.failure}", foreseen))
        return page

    yield opened
    for context in contexts:
        context.close()
    assert complaints == []
