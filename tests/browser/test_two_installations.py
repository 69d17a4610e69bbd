"""A set goes from the practice's own installation to one run by the group: two servers, two databases, two ports."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from clinic.management.commands.demo import PASSWORD
from tests.browser.server import ROOT, WIDTHS, _serving, prepare, scratch_database, sign_in
from tests.browser.test_accessibility import complaints_about
from tests.tables import TABLES

pytestmark = pytest.mark.walk

# The practice's installation needs no records: a signed audit holds its frames. The group's is the demonstration.
AT_THE_PRACTICE = f"""{TABLES}
from audit.exchange.simulated import Plan
from clinic.access.models import Member, Practice
from tests.audit.exchange.signatures import sign
practice = Practice.objects.create(code="elsewhere", name="Rooms elsewhere (fictional)")
lead = Member.objects.create_user("orla", password={PASSWORD!r}, practice=practice, role="lead", first_name="Orla",
                                  last_name="Testwell")
sign(lead, Plan("walk", seed=5, patients=90))
"""


@contextmanager
def installation(folder: Path, program: str) -> Iterator[str]:
    """The address of a server of its own; `program` is run on its database before."""
    with scratch_database(folder) as url:
        environment = {**os.environ, "VAR_DIR": str(folder), "DATABASE_URL": url}
        environment.pop("PRODUCTION", None)
        told = {**environment, "DJANGO_SETTINGS_MODULE": "clinic.settings"}
        prepare(environment, "make_fonts")
        done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, env=told, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr[-2000:]
        with _serving(folder, environment) as address:
            yield address


@pytest.fixture(scope="module")
def both(demo_server: str, tmp_path_factory) -> Iterator[tuple[str, str]]:
    """The practice's installation and the group's."""
    with installation(tmp_path_factory.mktemp("practice"), AT_THE_PRACTICE) as practice:
        assert practice != demo_server
        yield practice, demo_server


@pytest.fixture
def at(browser: Browser) -> Iterator:
    contexts = []

    def opened(address: str, username: str) -> Page:
        wide, high = WIDTHS["desktop"]
        context = browser.new_context(base_url=address, viewport={"width": wide, "height": high}, accept_downloads=True)
        contexts.append(context)
        page = context.new_page()
        sign_in(page, username, PASSWORD)
        return page

    yield opened
    for context in contexts:
        context.close()


def invited(reviewer: Page) -> str:
    """The reviewer opens a group and invites one practice; gives the invitation."""
    reviewer.goto("/exchange/groups/new/")
    reviewer.get_by_label("Name of the group").fill("Two ports (fictional)")
    reviewer.get_by_label("Outcome").select_option("any_regrowth")
    reviewer.get_by_role("button", name="Open the group").click()
    reviewer.get_by_role("button", name="Invite a practice").click()
    return reviewer.locator(".token code").inner_text()


def codes(lead: Page, invitation: str) -> tuple[str, str]:
    """The lead joins at the group's installation and reads both codes."""
    lead.goto("/exchange/groups/join/")
    lead.get_by_label("Invitation").fill(invitation)
    lead.get_by_role("button", name="Join").click()
    group, own = lead.locator("dd.code").all_inner_texts()
    return group, own


def looked_over(page: Page) -> None:
    """Pages that only a signed audit leads to, so the list of all pages does not reach them."""
    assert complaints_about(page) == []
    wide, high = WIDTHS["desktop"]
    page.set_viewport_size({"width": wide, "height": high})
    page.emulate_media(color_scheme="light")


def made(lead: Page, group: str, own: str, folder: Path) -> Path:
    """The lead makes the file at the practice's installation, looks at it before, and takes it."""
    lead.goto("/exchange/")
    lead.get_by_role("link", name="Prepare a file for Apr 2023 to Mar 2024").click()
    looked_over(lead)
    lead.locator("input[name=group][value=other]").check(force=True)
    lead.get_by_label("Group code").fill(group)
    lead.get_by_label("Code of this practice there").fill(own)
    lead.get_by_label("Who will read it").fill("The reviewer of the group")
    lead.get_by_label("What for").fill("Yearly comparison")
    lead.get_by_role("button", name="Show exactly what would leave").click()
    expect(lead.get_by_role("heading", name="One row, before and after")).to_be_visible()
    looked_over(lead)
    lead.get_by_role("button", name=re.compile("Rarest row")).click()
    lead.get_by_label("Your password").fill(PASSWORD)
    lead.get_by_role("button", name="Make the file").click()
    expect(lead.get_by_role("status")).to_contain_text("File made")
    looked_over(lead)
    with lead.expect_download() as download:
        lead.get_by_role("button", name="Take the file").click()
    path = folder / f"{group}.zip"
    download.value.save_as(path)
    lead.reload()
    expect(lead.locator(".log")).to_contain_text("Orla Testwell, peer export")
    return path


def hand_in(lead: Page, group_name: str, path: Path) -> None:
    lead.goto("/exchange/")
    lead.get_by_role("link", name=group_name, exact=True).click()
    lead.get_by_role("link", name="Hand in a set").click()
    lead.get_by_label("File", exact=True).set_input_files(path)
    lead.get_by_label("Your password").fill(PASSWORD)
    lead.get_by_role("button", name="Hand in").click()


def test_from_one_installation_to_the_other(both, at, tmp_path):
    practice, group = both
    reviewer, lead_there, lead_here = at(group, "ravi"), at(group, "orla"), at(practice, "orla")
    group_code, own_code = codes(lead_there, invited(reviewer))

    path = made(lead_here, group_code, own_code, tmp_path)
    broken = tmp_path / "broken.zip"
    broken.write_bytes(path.read_bytes().replace(b",clear,", b",event,", 1))
    hand_in(lead_there, "Two ports (fictional)", broken)
    expect(lead_there.get_by_role("heading", name="Not taken")).to_be_visible()
    expect(lead_there.get_by_role("alert")).to_contain_text("damaged")

    hand_in(lead_there, "Two ports (fictional)", path)
    expect(lead_there.get_by_role("status")).to_contain_text(re.compile(r"Taken: \d+ rows of Apr 2023 to Mar 2024"))
    reviewer.reload()
    row = reviewer.locator("tr", has_text=own_code)
    expect(row).to_contain_text("In the pool")
    assert "Tarnwick" not in reviewer.locator("main").inner_text()

    reviewer.get_by_role("link", name="Pooled comparison").click()
    expect(reviewer.locator("main")).to_contain_text("1 practice is here; from 3 on anything is pooled")
    assert reviewer.locator("main img").count() == 0
