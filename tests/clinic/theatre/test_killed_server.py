"""A server killed between two taps loses no time that it acknowledged: real processes, a real file, SIGKILL."""

import http.cookiejar
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlencode

from tests.tables import TABLES

ROOT = Path(__file__).resolve().parents[3]
PASSWORD = "a long enough word"
SEED = f"""{TABLES}
from django.utils import timezone
from clinic.procedures.models import NailProcedure
from tests.factories import create_member, create_operation, create_practice
practice = create_practice()
member = create_member(practice, username="practitioner")
operation = create_operation(practice, operator=member, performed_on=timezone.localdate(), seconds=())
nail = operation.nail_procedures.get()
print(operation.key, nail.key, nail.treated_sides.get().key)
"""
LOOK = """
import json
from clinic.theatre.models import Mark
print(json.dumps([[mark.kind, mark.tap, mark.at.isoformat()] for mark in Mark.objects.order_by("at")]))
"""


def manage(environment: dict[str, str], *arguments: str) -> str:
    command = [sys.executable, "manage.py", *arguments]
    return subprocess.run(command, cwd=ROOT, env=environment, check=True, capture_output=True, text=True).stdout


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextmanager
def serving(environment: dict[str, str], port: int):
    command = [sys.executable, "manage.py", "runserver", "--noreload", f"127.0.0.1:{port}"]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    process = subprocess.Popen(command, cwd=ROOT, env=environment, **quiet)
    try:
        for _ in range(300):
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz")
                break
            except OSError:
                time.sleep(0.1)
        yield process
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()


class Tablet:
    """A browser without script that keeps its cookies while the server comes and goes."""

    def __init__(self, port: int) -> None:
        self.base = f"http://127.0.0.1:{port}"
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))

    def get(self, path: str) -> str:
        return self.opener.open(self.base + path).read().decode()

    def post(self, path: str, token_from: str, data: dict[str, str]) -> str:
        token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', self.get(token_from)).group(1)
        body = urlencode({"csrfmiddlewaretoken": token, **data}).encode()
        request = urllib.request.Request(self.base + path, body, {"Accept": "application/json"})  # noqa: S310
        return self.opener.open(request).read().decode()


def test_killing_the_server_between_two_taps_loses_no_acknowledged_time(tmp_path):
    environment = {name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "PRODUCTION"}}
    environment |= {"VAR_DIR": str(tmp_path), "PYTHONPATH": str(ROOT), "DJANGO_SETTINGS_MODULE": "clinic.settings"}
    seeded = subprocess.run(
        [sys.executable, "-c", SEED], cwd=ROOT, env=environment, check=True, capture_output=True, text=True
    )
    operation, nail, side = seeded.stdout.split()[-3:]
    port = free_port()
    tablet, acknowledged = Tablet(port), []
    taps = [("tourniquet_on", nail, ""), ("application_start", "", side), ("application_stop", "", side)]

    for number, (kind, of_toe, of_side) in enumerate([*taps, ("tourniquet_off", nail, "")]):
        with serving(environment, port):
            if number == 0:
                tablet.post("/sign-in/", "/sign-in/", {"username": "practitioner", "password": PASSWORD})
            name = f"tap-of-the-tablet-{number:06}"
            data = {"kind": kind, "nail": of_toe, "side": of_side, "tap": name, "ago_ms": "0"}
            said = json.loads(tablet.post(f"/operations/{operation}/tap/", f"/operations/{operation}/room/", data))
            acknowledged.append((kind, name, said["said"]))
        # Leaving the block kills the process at once, without any chance to write something more.

    kept = json.loads(manage(environment, "shell", "--verbosity", "0", "--command", LOOK).splitlines()[-1])
    assert len(acknowledged) == 4
    assert [(kind, name) for kind, name, _ in kept] == [(kind, name) for kind, name, _ in acknowledged]
