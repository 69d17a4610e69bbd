"""Picture files made here: with everything planted that a file can carry, or broken in one way each."""

import struct
import zlib
from collections.abc import Iterator
from io import BytesIO

import numpy as np
from PIL import Image

from tests.factories import picture_bytes

# Each in a place of its own, so that a search tells which one survived.
PLANTED = {
    "exif": b"PLANTED-EXIF-DESCRIPTION",
    "place": b"PLANTED-GPS-AREA",
    "thumbnail": b"PLANTED-THUMBNAIL",
    "xmp": b"PLANTED-XMP-CREATOR",
    "iptc": b"PLANTED-IPTC-CAPTION",
    "comment": b"PLANTED-COMMENT",
    "profile": b"PLANTED-PROFILE-OWNER",
    "segment": b"PLANTED-OTHER-SEGMENT",
    "trailing": b"PLANTED-AFTER-THE-END",
    "text": b"PLANTED-PNG-TEXT",
    "packed": b"PLANTED-PNG-PACKED-TEXT",
    "international": b"PLANTED-PNG-INTERNATIONAL",
}
# 51° 28' 40.123" as the three fractions of the GPS directory, little-endian: what a search for the place would find.
LATITUDE = struct.pack("<6I", 51, 1, 28, 1, 40123, 1000)


def noise(width: int, height: int, *, seed: int = 1) -> Image.Image:
    values = np.random.default_rng(seed).integers(0, 255, (height, width, 3), dtype=np.uint8)
    return Image.fromarray(values)


def saved(picture: Image.Image, kind: str, **options) -> bytes:
    target = BytesIO()
    picture.save(target, kind, **options)
    return target.getvalue()


def exif(*, orientation: int = 1) -> bytes:
    """A TIFF structure with description, place and thumbnail, written by hand so that every byte is known.

    EXIF 2.32 (CIPA DC-008), sections 4.5 and 4.6: directories of twelve-byte entries, then the values.
    """
    values, start = b"", 8 + 2 + 3 * 12 + 4 + 2 + 4 * 12 + 4 + 2 + 3 * 12 + 4

    def held(data: bytes) -> int:
        nonlocal values
        at = start + len(values)
        values += data + b"\0" * (len(data) % 2)
        return at

    def directory(*entries: tuple[int, int, int, bytes], following: int = 0) -> bytes:
        rows = b"".join(
            struct.pack("<HHI", tag, kind, count) + value.ljust(4, b"\0") for tag, kind, count, value in entries
        )
        return struct.pack("<H", len(entries)) + rows + struct.pack("<I", following)

    short, long, text, fraction, undefined = 3, 4, 2, 5, 7
    gps_at = 8 + 2 + 3 * 12 + 4
    thumbnail_at = gps_at + 2 + 4 * 12 + 4
    description, area = PLANTED["exif"] + b"\0", b"ASCII\0\0\0" + PLANTED["place"]
    thumbnail = picture_bytes(size=(16, 12), comment=PLANTED["thumbnail"])
    first = directory(
        (0x010E, text, len(description), struct.pack("<I", held(description))),
        (0x0112, short, 1, struct.pack("<H", orientation)),
        (0x8825, long, 1, struct.pack("<I", gps_at)),
        following=thumbnail_at,
    )
    place = directory(
        (1, text, 2, b"N\0"),
        (2, fraction, 3, struct.pack("<I", held(LATITUDE))),
        (4, fraction, 3, struct.pack("<I", held(LATITUDE))),
        (28, undefined, len(area), struct.pack("<I", held(area))),
    )
    small = directory(
        (0x0103, short, 1, struct.pack("<H", 6)),
        (0x0201, long, 1, struct.pack("<I", held(thumbnail))),
        (0x0202, long, 1, struct.pack("<I", len(thumbnail))),
    )
    return b"II*\0" + struct.pack("<I", 8) + first + place + small + values


def segment(marker: int, body: bytes) -> bytes:
    return bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body


def xmp() -> bytes:
    return b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><dc:creator>' + PLANTED["xmp"] + b"</dc:creator></x:xmpmeta>"


def iptc() -> bytes:
    """IPTC-IIM record 2:120 (caption) inside an image resource 0x0404."""
    caption = b"\x1c\x02\x78" + struct.pack(">H", len(PLANTED["iptc"])) + PLANTED["iptc"]
    return b"Photoshop 3.0\x00" + b"8BIM\x04\x04\0\0" + struct.pack(">I", len(caption)) + caption


def profile(*, swapped: bool = False) -> bytes:
    """An ICC profile with the primaries of sRGB; `swapped` gives red and blue each other's place.

    ICC.1:2010, sections 7.2, 10.5 and 10.31. Primaries adapted to D50: Lindbloom, "RGB/XYZ matrices", from memory.
    """

    def xyz(*numbers: float) -> bytes:
        return b"XYZ \0\0\0\0" + b"".join(struct.pack(">i", round(number * 65536)) for number in numbers)

    red, green, blue = (
        (0.4360747, 0.2225045, 0.0139322),
        (0.3850649, 0.7168786, 0.0971045),
        (0.1430804, 0.0606169, 0.7141733),
    )
    if swapped:
        red, blue = blue, red
    owner = PLANTED["profile"] + b"\0"
    described = b"desc\0\0\0\0" + struct.pack(">I", len(owner)) + owner + bytes(78)
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(2.2 * 256)) + b"\0\0"
    tags = {
        b"desc": described, b"cprt": b"text\0\0\0\0" + owner, b"wtpt": xyz(0.9642, 1.0, 0.8249),
        b"rXYZ": xyz(*red), b"gXYZ": xyz(*green), b"bXYZ": xyz(*blue),
        b"rTRC": curve, b"gTRC": curve, b"bTRC": curve,
    }  # fmt: skip
    at, table, values = 128 + 4 + 12 * len(tags), b"", b""
    for name, value in tags.items():
        padded = value + bytes(-len(value) % 4)
        table += name + struct.pack(">II", at + len(values), len(value))
        values += padded
    head = struct.pack(">I4sI4s4s4s", at + len(values), b"none", 0x02100000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + xyz(0.9642, 1.0, 0.8249)[8:]
    return head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + values


def jpeg_full_of_secrets(picture: Image.Image | None = None, *, orientation: int = 1) -> bytes:
    plain = saved(picture or noise(60, 40), "JPEG", icc_profile=profile())
    more = [
        segment(0xE1, b"Exif\0\0" + exif(orientation=orientation)),
        segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + xmp()),
        segment(0xED, iptc()),
        segment(0xE5, PLANTED["segment"]),
        segment(0xFE, PLANTED["comment"]),
    ]
    return plain[:2] + b"".join(more) + plain[2:] + PLANTED["trailing"]


def chunk(kind: bytes, data: bytes = b"") -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png_full_of_secrets(picture: Image.Image | None = None, *, orientation: int = 1) -> bytes:
    plain = saved(picture or noise(60, 40), "PNG", icc_profile=profile())
    head_ends = 8 + 12 + 13
    before = [
        chunk(b"eXIf", exif(orientation=orientation)),
        chunk(b"tEXt", b"Comment\0" + PLANTED["text"]),
        chunk(b"zTXt", b"Author\0\0" + zlib.compress(PLANTED["packed"])),
        chunk(b"iTXt", b"Title\0\0\0en\0\0" + PLANTED["international"]),
        chunk(b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0" + xmp()),
        chunk(b"zTXt", b"Raw profile type iptc\0\0" + zlib.compress(PLANTED["iptc"].hex().encode())),
        chunk(b"teSt", PLANTED["segment"]),
    ]
    after = chunk(b"tEXt", b"Comment\0" + PLANTED["comment"])
    return plain[:head_ends] + b"".join(before) + plain[head_ends:-12] + after + chunk(b"IEND") + PLANTED["trailing"]


def several_pictures(*, kind_of_second: int = 0) -> bytes:
    """A JPEG with two pictures in it (CIPA DC-007); kind_of_second: the type code of the second one's attribute."""
    data = saved(noise(60, 40), "MPO", save_all=True, append_images=[noise(60, 40, seed=2)])
    start = data.index(b"MPF\0") + 4
    entries_tag = data.index(b"\x02\xb0", start)
    entries = struct.unpack("<L", data[entries_tag + 8 : entries_tag + 12])[0]
    second = start + entries + 16  # an entry has sixteen bytes and begins with its attribute
    assert data[second - 16 : second - 12] == struct.pack("<L", 0x030000)
    return data[:second] + struct.pack("<L", kind_of_second) + data[second + 4 :]


def png_of_size(width: int, height: int) -> bytes:
    """Its head tells this size, whatever follows."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(99))) + chunk(b"IEND")


def png_bomb() -> bytes:
    """A whole and valid black picture of 30,000 × 30,000 pixels: 900 megapixels in about a hundred kilobytes."""
    line = b"\0" + bytes(30_000 // 8)
    packer = zlib.compressobj(9)
    packed = b"".join(packer.compress(line * 100) for _ in range(300)) + packer.flush()
    head = struct.pack(">IIBBBBB", 30_000, 30_000, 1, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", packed) + chunk(b"IEND")


def segments(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Marker and body of each segment of a JPEG before its coded data."""
    at = 2
    while data[at + 1] != 0xDA:
        length = struct.unpack(">H", data[at + 2 : at + 4])[0]
        yield data[at + 1], data[at + 4 : at + 2 + length]
        at += 2 + length


def chunk_kinds(data: bytes) -> list[bytes]:
    at, kinds = 8, []
    while at < len(data):
        length = struct.unpack(">I", data[at : at + 4])[0]
        kinds.append(data[at + 4 : at + 8])
        at += 12 + length
    return kinds


PAGE = b"<!doctype html><html><body onload='alert(1)'>"
DRAWING = b"<?xml version='1.0'?><svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>"
OTHER_TYPES = {
    "SVG": DRAWING,
    "SVG without declaration": DRAWING[21:],
    "HTML": PAGE,
    "PDF": b"%PDF-1.7\n1 0 obj<<>>endobj\n%%EOF",
    "EPS": b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n",
    "HEIC": b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(200),
    "archive": b"PK\x03\x04" + bytes(200),
    "text": b"a toe",
    "nothing": b"",
    **{kind: saved(noise(30, 20), kind) for kind in ("GIF", "TIFF", "BMP", "WEBP", "ICO", "PPM", "TGA", "AVIF")},
    "polyglot GIF": b"GIF89a" + picture_bytes(),
    "polyglot HTML": PAGE + picture_bytes("PNG"),
    "polyglot PDF": b"%PDF-1.7\n" + picture_bytes(),
    "polyglot SVG": DRAWING + picture_bytes(),
    "line break before": b"\n" + picture_bytes(),
}
