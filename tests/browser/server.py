"""The app on freshly loaded demo data, in a process of its own and on a database of its own.

Where DATABASE_URL points at PostgreSQL, as `.ci/postgres COMMAND` sets it, the database is made on that server under
a name nobody else has and dropped afterwards; the one that DATABASE_URL names is never written to. Otherwise it is
an SQLite file.
"""

import atexit
import fcntl
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
from playwright.sync_api import Browser
from psycopg import sql

ROOT = Path(__file__).resolve().parents[2]
# The shell first: it draws no windows of its own.
CHROMIUM = next(filter(None, map(shutil.which, ("chromium-headless-shell", "chromium", "chromium-browser"))), None)
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run", "--disable-sync"]
LOADING = ("make_fonts", "migrate -v0", "demo --no-serve")
WIDTHS = {"phone": (320, 740), "tablet": (820, 1180), "desktop": (1440, 900)}


@contextmanager
def running_demo(folder: Path, stock: Path | None = None) -> Iterator[str]:
    """The address of a server whose fonts, log and SQLite file lie in `folder`; ended when the block ends.

    stock: a folder that the processes of one run share; the demo is loaded there once, and each server gets a copy.
    """
    stocked = _stocked(stock) if stock else ""
    with scratch_database(folder, like=stocked) as url:
        environment = _environment(folder, url)
        if stock:
            shutil.copytree(stock / "var", folder, dirs_exist_ok=True)
        else:
            prepare(environment, *LOADING)
        with _serving(folder, environment) as address:
            yield address


def _environment(folder: Path, url: str) -> dict[str, str]:
    environment = {**os.environ, "VAR_DIR": str(folder), "DATABASE_URL": url}
    environment.pop("PRODUCTION", None)
    return environment


def _stocked(stock: Path) -> str:
    """The URL of the loaded demo, which the first process to ask loads while the others wait."""
    (stock / "var").mkdir(parents=True, exist_ok=True)
    with open(stock / "lock", "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (stock / "url").exists():
            ended = ExitStack()
            url = ended.enter_context(scratch_database(stock / "var"))
            prepare(_environment(stock / "var", url), *LOADING)
            (stock / "url").write_text(url)
            ended.callback((stock / "url").unlink)
            atexit.register(ended.close)
        return (stock / "url").read_text()


@contextmanager
def scratch_database(folder: Path, like: str = "") -> Iterator[str]:
    """The URL of a database that nobody else uses; on PostgreSQL it is dropped when the block ends.

    like: the URL of a database on that server of which it is a copy; without it, and on SQLite, it is empty.
    """
    given = urlsplit(os.environ.get("DATABASE_URL", ""))
    if given.scheme not in {"postgresql", "postgres"}:
        yield f"sqlite:///{folder / 'demo.sqlite3'}"
        return
    name = f"clinic_browser_{os.getpid()}_{secrets.token_hex(4)}"
    _tell(given.geturl(), "CREATE DATABASE {} TEMPLATE {}", name, urlsplit(like).path[1:] or "template1")
    try:
        yield given._replace(path=f"/{name}").geturl()
    finally:
        # By force: a connection of the server that has just ended may still be closing.
        _tell(given.geturl(), "DROP DATABASE IF EXISTS {} WITH (FORCE)", name)


def _tell(url: str, statement: str, *names: str) -> None:
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(sql.SQL(statement).format(*map(sql.Identifier, names)))


def prepare(environment: dict[str, str], *commands: str) -> None:
    """Runs commands of manage.py one after the other."""
    for command in commands:
        done = subprocess.run(
            [sys.executable, "manage.py", *command.split()], cwd=ROOT, env=environment, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr[-2000:]


@contextmanager
def _serving(folder: Path, environment: dict[str, str]) -> Iterator[str]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "manage.py", "runserver", f"127.0.0.1:{port}", "--noreload"]
    with open(folder / "server.log", "w") as log:
        server = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=log, stderr=log)
        try:
            _wait_until_alive(f"http://127.0.0.1:{port}", server)
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            server.wait(timeout=20)


def _wait_until_alive(address: str, server: subprocess.Popen) -> None:
    for _ in range(150):
        assert server.poll() is None, "the demo server ended"
        try:
            with urllib.request.urlopen(f"{address}/healthz", timeout=2):  # noqa: S310  (our own address)
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    raise AssertionError("the demo server did not answer within 30 seconds")


def sign_in(page, username: str, password: str) -> None:
    """Sign in through the page, as a person does."""
    page.goto("/sign-in/")
    page.get_by_label("Sign-in name").fill(username)
    page.get_by_label("Password", exact=True).fill(password)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/sign-in/" not in url)


def signed_in_states(browser: Browser, address: str) -> Callable[[str], dict]:
    """Gives the cookies of a demo member, signed in once through the sign-in page."""
    from clinic.management.commands.demo import PASSWORD  # needs the apps

    states: dict[str, dict] = {}

    def state_of(username: str) -> dict:
        if username not in states:
            context = browser.new_context(base_url=address)
            sign_in(context.new_page(), username, PASSWORD)
            states[username] = context.storage_state()
            context.close()
        return states[username]

    return state_of
