"""What travels to the browser, compressed as in production: at most 60 kB first, 20 kB afterwards."""

import gzip

import pytest

from tests.browser.pages import PAGES, address_of

FIRST_KB, REPEAT_KB = 60, 20
ALREADY_COMPRESSED = ("font/", "image/png")


def sent_bytes(response) -> int:
    body = response.body()
    kind = response.headers.get("content-type", "")
    return len(body) if kind.startswith(ALREADY_COMPRESSED) else len(gzip.compress(body, 6))


@pytest.mark.parametrize(
    "name", ["today", "toe", "record review", "new operation", "audit", "recall", "patient's own page"]
)
def test_weight_of_a_page(open_as, name):
    username = PAGES[name][0]
    where = address_of(name, open_as(username))
    page = open_as(username)
    answers = []
    page.on("response", lambda response: answers.append(response))
    page.goto(where)
    page.wait_for_load_state("networkidle")

    # Static files are immutable in production, so that only the page itself and its pictures travel again.
    first = sum(sent_bytes(answer) for answer in answers)
    repeat = sum(sent_bytes(answer) for answer in answers if "/static/" not in answer.url)

    assert first <= FIRST_KB * 1024
    assert repeat <= REPEAT_KB * 1024


def test_nothing_is_asked_of_another_server(open_as, demo_server):
    asked = []
    for name in ("today", "audit"):
        page = open_as(PAGES[name][0])
        page.on("request", lambda request: asked.append(request.url))
        page.goto(address_of(name, page))

    assert asked
    assert [url for url in asked if not url.startswith((demo_server, "data:"))] == []
