"""A stored picture holds its pixels and nothing else of the file that was sent."""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image, ImageOps

from clinic.photographs.cleaning import LONGEST_EDGE, PREVIEW_EDGE, Clean, clean
from tests.clinic.photographs.pictures import (
    LATITUDE,
    PLANTED,
    chunk_kinds,
    jpeg_full_of_secrets,
    noise,
    png_full_of_secrets,
    profile,
    saved,
    segments,
    several_pictures,
)
from tests.factories import picture_bytes

JPEG_SECRETS = ("exif", "place", "thumbnail", "xmp", "iptc", "comment", "profile", "segment", "trailing")
PNG_SECRETS = ("exif", "place", "thumbnail", "xmp", "text", "international", "comment", "segment", "trailing")
FULL = {"JPEG": (jpeg_full_of_secrets, JPEG_SECRETS), "PNG": (png_full_of_secrets, PNG_SECRETS)}


def cleaned(data: bytes) -> Clean:
    return clean(data, most_bytes=8 * 2**20, most_pixels=40_000_000)


def opened(data: bytes) -> Image.Image:
    return Image.open(BytesIO(data))


# --- nothing comes along


@pytest.mark.parametrize("kind", FULL)
def test_no_planted_string_survives(kind):
    make, secrets = FULL[kind]
    data = make()
    for name in secrets:  # otherwise the search below could not fail
        assert PLANTED[name] in data
    assert LATITUDE in data
    picture = cleaned(data)

    for stored in (picture.data, picture.preview):
        lowered = stored.lower()
        assert [name for name, planted in PLANTED.items() if planted.lower() in lowered] == []
        assert b"planted" not in lowered
        assert LATITUDE not in stored
        assert not any(sign in stored for sign in (b"Exif", b"xap/1.0", b"8BIM", b"ICC_PROFILE", b"iCCP", b"acsp"))


def test_what_another_reader_finds_in_the_sent_files():
    """So that the corpus is what it says: Pillow reads place, text, comment, profile and thumbnail from it."""
    jpeg, png = opened(jpeg_full_of_secrets()), opened(png_full_of_secrets())
    png.load()

    for picture in (jpeg, png):
        assert picture.getexif()[0x010E].encode() == PLANTED["exif"]
        assert [float(part) for part in picture.getexif().get_ifd(0x8825)[2]] == [51.0, 28.0, 40.123]
        assert picture.info["icc_profile"] == profile()
    assert jpeg.info["comment"] == PLANTED["comment"]
    assert PLANTED["xmp"] in jpeg.info["xmp"]
    assert jpeg.info["photoshop"]
    assert {PLANTED["packed"].decode(), PLANTED["international"].decode()} <= set(png.text.values())


def test_a_stored_jpeg_has_only_the_parts_of_a_plain_one():
    """Markers of ITU-T T.81 annex B: APP0 (JFIF), DQT, SOF0, DHT; no APP1 to APP15, no COM."""
    stored = cleaned(jpeg_full_of_secrets()).data
    found = list(segments(stored))

    assert {marker for marker, _ in found} == {0xE0, 0xDB, 0xC0, 0xC4}
    assert [len(body) for marker, body in found if marker == 0xE0] == [14]  # JFIF without a thumbnail
    assert stored.endswith(b"\xff\xd9")


def test_a_stored_png_has_only_the_parts_of_a_plain_one():
    stored = cleaned(png_full_of_secrets()).data

    assert set(chunk_kinds(stored)) == {b"IHDR", b"IDAT", b"IEND"}
    assert opened(stored).info == {}


def test_what_lies_under_full_transparency_does_not_survive():
    hidden = np.zeros((40, 60, 4), dtype=np.uint8)
    hidden[..., 0] = 200  # a red picture that nobody sees
    hidden[:, :30, 3] = 255
    stored = np.asarray(opened(cleaned(saved(Image.fromarray(hidden, "RGBA"), "PNG")).data))

    assert stored.shape == (40, 60, 3)
    assert (stored[:, 30:] == 255).all()
    assert (stored[:, :30] == (200, 0, 0)).all()


def test_a_colour_that_is_declared_transparent_becomes_white():
    grey = saved(Image.new("L", (8, 8), 7), "PNG", transparency=7)

    assert (np.asarray(opened(cleaned(grey).data)) == 255).all()


POLYGLOTS = {
    "archive behind": lambda: picture_bytes() + b"PK\x03\x04" + b"PLANTED-ARCHIVE" * 20,
    "page in a comment": lambda: picture_bytes(comment=b"<html><script>PLANTED</script></html>"),
    "document in a comment": lambda: picture_bytes(comment=b"%PDF-1.7 PLANTED"),
    "film behind": lambda: picture_bytes() + b"\0\0\0\x18ftypmp42PLANTED" + bytes(500),
    "picture behind": lambda: picture_bytes() + picture_bytes(comment=b"PLANTED"),
    "page behind a PNG": lambda: picture_bytes("PNG") + b"<html>PLANTED</html>",
}


@pytest.mark.parametrize("name", POLYGLOTS)
def test_of_a_file_that_is_two_things_only_the_picture_is_left(name):
    data = POLYGLOTS[name]()
    assert b"PLANTED" in data

    picture = cleaned(data)

    assert not any(part in picture.data for part in (b"PLANTED", b"<html", b"%PDF", b"PK\x03\x04", b"ftyp"))


# --- the picture stays


def test_the_pixels_of_a_png_are_kept_exactly():
    original = noise(60, 40)
    picture = cleaned(saved(original, "PNG"))

    assert (picture.media_type, picture.width, picture.height) == ("image/png", 60, 40)
    assert np.array_equal(np.asarray(opened(picture.data)), np.asarray(original))


def test_the_pixels_of_a_jpeg_are_kept_closely():
    steps = np.linspace(0, 255, 200).astype(np.uint8)
    original = Image.fromarray(np.stack([np.tile(steps, (90, 1))] * 3, axis=2))
    sent = saved(original, "JPEG", quality=95)
    picture = cleaned(sent)
    difference = np.asarray(opened(picture.data)).astype(int) - np.asarray(opened(sent)).astype(int)

    assert picture.media_type == "image/jpeg"
    assert abs(difference).max() <= 6


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA"])
def test_every_ordinary_mode_is_taken(mode):
    picture = cleaned(saved(noise(60, 40).convert(mode), "PNG"))

    assert opened(picture.data).mode == "RGB"
    assert opened(picture.data).format == "PNG"


@pytest.mark.parametrize(
    ("sent", "stored"),
    [
        ((2400, 1800), (2400, 1800)),
        ((2401, 1200), (2400, 1200)),
        ((4800, 3600), (2400, 1800)),
        ((1000, 5000), (480, 2400)),
        ((9600, 100), (2400, 25)),
        ((20000, 1), (2400, 1)),
    ],
)
@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_the_longest_edge_is_bounded_and_the_proportions_stay(kind, sent, stored):
    picture = cleaned(picture_bytes(kind, size=sent))

    assert (picture.width, picture.height) == stored == opened(picture.data).size
    assert max(stored) <= LONGEST_EDGE


def test_the_preview_is_a_small_jpeg_of_the_same_picture():
    picture = cleaned(picture_bytes("PNG", size=(1200, 900), colour="#aa5533"))
    preview = opened(picture.preview)

    assert (preview.format, preview.size) == ("JPEG", (PREVIEW_EDGE, 360))
    assert np.allclose(np.asarray(preview).mean(axis=(0, 1)), (0xAA, 0x55, 0x33), atol=2)


# --- upright

# EXIF orientation: where the first row and the first column of the file are seen. Source: table of the Exif tag
# Orientation as printed in the manual page of jpegexiforient and in the reference of libvips.
FIRST_ROW_AND_COLUMN = {
    1: ("top", "left"), 2: ("top", "right"), 3: ("bottom", "right"), 4: ("bottom", "left"),
    5: ("left", "top"), 6: ("right", "top"), 7: ("right", "bottom"), 8: ("left", "bottom"),
}  # fmt: skip
EDGES = {"top": (0, slice(None)), "bottom": (-1, slice(None)), "left": (slice(None), 0), "right": (slice(None), -1)}
MAKE = {"JPEG": jpeg_full_of_secrets, "PNG": png_full_of_secrets}


def marked() -> Image.Image:
    """48 × 32 pixels; red where first row and first column meet, green along the row, blue along the column."""
    pixels = np.zeros((32, 48, 3), dtype=np.uint8)
    pixels[:16, :16], pixels[:16, 16:], pixels[16:, :16] = (255, 0, 0), (0, 255, 0), (0, 0, 255)
    return Image.fromarray(pixels)


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
@pytest.mark.parametrize("orientation", FIRST_ROW_AND_COLUMN)
def test_it_is_turned_as_the_file_says(kind, orientation):
    row, column = FIRST_ROW_AND_COLUMN[orientation]
    picture = cleaned(MAKE[kind](marked(), orientation=orientation))
    upright = np.asarray(opened(picture.data)).astype(int)

    def colour_of(edge: str) -> set[str]:
        line = upright[EDGES[edge]]
        names = {"red": 0, "green": 1, "blue": 2}
        return {name for name, band in names.items() if (line[:, band] > 180).any()}

    assert colour_of(row) == {"red", "green"}
    assert colour_of(column) == {"red", "blue"}
    assert (picture.width, picture.height) == ((48, 32) if orientation < 5 else (32, 48))


@pytest.mark.parametrize("orientation", FIRST_ROW_AND_COLUMN)
def test_it_is_turned_as_the_reference_library_turns_it(orientation):
    """Pillow's own exif_transpose on the same file."""
    carried = Image.Exif()
    carried[0x0112] = orientation
    data = saved(noise(48, 32), "PNG", exif=carried)

    mine, reference = opened(cleaned(data).data), ImageOps.exif_transpose(opened(data))

    assert np.array_equal(np.asarray(mine), np.asarray(reference))


@pytest.mark.parametrize("nonsense", [0, 9, 77, 65535])
def test_an_orientation_that_means_nothing_turns_nothing(nonsense):
    picture = cleaned(jpeg_full_of_secrets(marked(), orientation=nonsense))

    assert (picture.width, picture.height) == (48, 32)


def test_exif_that_cannot_be_read_says_nothing():
    plain = picture_bytes(size=(48, 32))
    for broken in (b"", b"II", b"II*\0\xff\xff\xff\xff", b"MM\0*\0\0\0\x08\xff\xff", b"nonsense" * 9):
        body = b"Exif\0\0" + broken
        data = plain[:2] + b"\xff\xe1" + (len(body) + 2).to_bytes(2) + body + plain[2:]

        assert (cleaned(data).width, cleaned(data).height) == (48, 32)


# --- colours


def test_a_profile_is_applied_before_it_goes():
    """With red and blue in each other's place, what is stored as red was meant as blue (matrix profile, ICC.1:2010)."""
    swapped = saved(Image.new("RGB", (8, 8), (255, 0, 0)), "PNG", icc_profile=profile(swapped=True))
    plain = saved(Image.new("RGB", (8, 8), (255, 0, 0)), "PNG", icc_profile=profile())

    assert np.allclose(np.asarray(opened(cleaned(swapped).data))[0, 0], (0, 0, 255), atol=3)
    assert np.allclose(np.asarray(opened(cleaned(plain).data))[0, 0], (255, 0, 0), atol=3)


# --- more than one picture


def test_previews_that_a_camera_adds_are_left_behind():
    """CIPA DC-007: type 0x010001 is a large thumbnail, which many cameras write into every photograph."""
    data = several_pictures(kind_of_second=0x010001)
    assert opened(data).n_frames == 2

    picture = cleaned(data)

    assert opened(picture.data).format == "JPEG"
    assert np.allclose(np.asarray(opened(picture.data)).mean(), np.asarray(opened(data)).mean(), atol=2)
