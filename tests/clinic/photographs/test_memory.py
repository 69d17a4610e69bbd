"""What a picture at the limits costs in memory, measured in a process of its own."""

import struct
import subprocess
import sys
import zlib
from pathlib import Path

import pytest
from PIL import Image

from tests.clinic.photographs.pictures import (
    chunk,
    png_bomb,
    saved,
)
from tests.factories import picture_bytes

ROOT = Path(__file__).resolve().parents[3]
TOO_MANY_PIXELS = "The picture has more than 40 megapixels; make it smaller and choose it again"
MEASURE = """
import re, sys
from clinic.photographs.cleaning import Refusal, clean
data = open(sys.argv[1], "rb").read()
def most():
    return int(re.search(r"VmHWM:\\s+(\\d+) kB", open("/proc/self/status").read())[1])
before = most()
try:
    said = str(clean(data, most_bytes=8 * 2**20, most_pixels=40_000_000).width)
except Refusal as refusal:
    said = str(refusal)
print((most() - before) // 1024, said)
"""
# A single upload may cost 300 MB; the file itself is held twice, as it was sent and as it is read.
GREATEST_EXTRA_MB = 300 - 2 * 8


def megabytes(data: bytes, folder: Path) -> tuple[int, str]:
    """How much memory a process of its own needs in addition, and what came of it.

    Read where Linux keeps the most a process ever had; getrusage would begin with that of the process before it.
    """
    path = folder / "sent"
    path.write_bytes(data)
    done = subprocess.run([sys.executable, "-c", MEASURE, path], cwd=ROOT, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    amount, said = done.stdout.split(" ", 1)
    return int(amount), said.strip()


needs_linux = pytest.mark.skipif(sys.platform != "linux", reason="memory is measured the way Linux reports it")


@needs_linux
def test_a_bomb_costs_next_to_nothing(tmp_path):
    """Valid, 900 megapixels in 120 kB; unpacked it would take 900 MB or more."""
    data = png_bomb()
    assert len(data) < 200_000

    extra, said = megabytes(data, tmp_path)

    assert said == TOO_MANY_PIXELS
    assert extra < 20


DEAREST = {
    "progressive": lambda: picture_bytes(size=(8_000, 5_000), progressive=True, subsampling="4:4:4"),
    "transparent": lambda: saved(Image.new("RGBA", (8_000, 5_000), (9, 9, 9, 99)), "PNG"),
    "sixteen bits": lambda: sixteen_bits(8_000, 5_000),
}


def sixteen_bits(width: int, height: int) -> bytes:
    head = struct.pack(">IIBBBBB", width, height, 16, 6, 0, 0, 0)
    pixels = zlib.compress(bytes(height * (1 + width * 8)), 1)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", pixels) + chunk(b"IEND")


@needs_linux
@pytest.mark.parametrize("name", DEAREST)
def test_the_dearest_pictures_stay_within_the_bound(name, tmp_path):
    """At 40 megapixels. A progressive decoder keeps three coefficients of 16 bits a pixel, which are 240 MB."""
    extra, said = megabytes(DEAREST[name](), tmp_path)

    assert said == "2400"
    assert extra < GREATEST_EXTRA_MB
