"""What is not taken, each with one sentence; the decoder decides, not the name."""

import random
import struct
import warnings
import zlib
from io import BytesIO

import pytest
from PIL import Image, ImageFile

from clinic.photographs import cleaning
from clinic.photographs.cleaning import ODD_COLOURS, ODD_PROFILE, Clean, clean, refuse_other_ending
from clinic.photographs.outline import DAMAGED, MOST_PARTS, NOT_A_PICTURE, SEVERAL, TOO_MANY_PARTS, Refusal, outlined
from tests.clinic.photographs.pictures import (
    DRAWING,
    OTHER_TYPES,
    PAGE,
    chunk,
    noise,
    png_of_size,
    profile,
    saved,
    segment,
    several_pictures,
)
from tests.factories import picture_bytes

TOO_MANY_PIXELS = "The picture has more than 40 megapixels; make it smaller and choose it again"


def cleaned(data: bytes) -> Clean:
    return clean(data, most_bytes=8 * 2**20, most_pixels=40_000_000)


def refusal_of(data: bytes) -> str:
    with pytest.raises(Refusal) as refusal:
        cleaned(data)
    return str(refusal.value)


@pytest.mark.parametrize("name", OTHER_TYPES)
def test_other_types_are_refused_whatever_their_name(name):
    assert refusal_of(OTHER_TYPES[name]) == NOT_A_PICTURE


@pytest.mark.parametrize("start", [b"\xff\xd8\xff", b"\xff\xd8\xff\xe0", b"\x89PNG\r\n\x1a\n"])
def test_a_signature_makes_no_picture(start):
    for rest in (b"", PAGE, DRAWING, bytes(50), saved(noise(30, 20), "TIFF"), saved(noise(30, 20), "GIF")):
        assert refusal_of(start + rest) == DAMAGED


@pytest.mark.parametrize("kind", ["GIF", "TIFF", "BMP", "WEBP", "ICO", "PPM", "TGA"])
def test_the_decoder_itself_is_told_what_it_may_read(monkeypatch, kind):
    """Were the look at the outline gone, the decoder would still know no other format."""
    monkeypatch.setattr(cleaning, "outlined", lambda data: data)

    assert refusal_of(saved(noise(30, 20), kind)) == DAMAGED


def test_the_decoder_sees_nothing_behind_the_end():
    for data in (picture_bytes(), picture_bytes(progressive=True), picture_bytes("PNG")):
        assert outlined(data + b"more") == data


# --- damaged


WHOLE = {
    "JPEG": saved(noise(40, 30), "JPEG"),
    "progressive JPEG": saved(noise(40, 30), "JPEG", progressive=True),
    "PNG": saved(noise(40, 30), "PNG"),
}


@pytest.mark.parametrize("name", WHOLE)
def test_cut_short_at_any_byte_it_is_refused(name):
    data = WHOLE[name]
    assert cleaned(data).width == 40

    assert {refusal_of(data[:length]) for length in range(3, len(data))} <= {DAMAGED, NOT_A_PICTURE}


def test_a_damaged_file_ends_in_a_sentence_or_in_a_picture():
    """Five thousand files with a few bytes changed: no other exception, and never a picture beyond the bounds."""
    chance = random.Random(20261125)
    bases = [*WHOLE.values(), saved(noise(40, 30).convert("P"), "PNG"), several_pictures()]
    taken = 0
    for _ in range(5000):
        data = bytearray(chance.choice(bases))
        for _ in range(chance.randint(1, 8)):
            data[chance.randrange(len(data))] = chance.randrange(256)
        try:
            picture = cleaned(bytes(data))
        except Refusal:
            continue
        taken += 1
        assert 1 <= max(picture.width, picture.height) <= 2400
    assert 0 < taken < 5000


@pytest.mark.parametrize("size", [(0, 0), (0, 7), (7, 0)])
def test_no_pixels(size):
    assert refusal_of(png_of_size(*size)) == DAMAGED
    jpeg = bytearray(picture_bytes(size=(7, 7)))
    frame = jpeg.index(b"\xff\xc0")
    jpeg[frame + 5 : frame + 9] = struct.pack(">HH", *size)
    assert refusal_of(bytes(jpeg)) == DAMAGED


def test_leniency_that_another_library_switches_on_counts_for_nothing(monkeypatch):
    """WeasyPrint does so for the whole process; then too few pixels are filled up, and broken profiles overlooked."""
    pytest.importorskip("weasyprint")
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    too_few = png_of_size(40, 30)
    assert Image.open(BytesIO(too_few)).convert("L").size == (40, 30)

    assert refusal_of(too_few) == DAMAGED


def test_a_wrong_checksum_is_damage():
    data = bytearray(saved(noise(40, 30), "PNG"))
    data[-14] ^= 1  # the last byte of the pixels' checksum

    assert refusal_of(bytes(data)) == DAMAGED


# --- too much


def test_fifty_megapixels_are_refused_and_forty_are_taken():
    assert refusal_of(picture_bytes(size=(10_000, 5_000))) == TOO_MANY_PIXELS
    assert refusal_of(picture_bytes("PNG", size=(8_001, 5_000))) == TOO_MANY_PIXELS
    assert cleaned(picture_bytes(size=(8_000, 5_000))).width == 2400


def test_the_head_alone_decides_before_anything_is_decoded():
    """What follows these heads is no picture; decoding it would end as damage, not as too many pixels."""
    for size in ((30_000, 30_000), (2**31 - 1, 2**31 - 1), (40_000_001, 1), (9_500, 9_500)):
        assert refusal_of(png_of_size(*size)) == TOO_MANY_PIXELS


def test_a_warning_about_a_bomb_is_a_refusal(monkeypatch):
    """Pillow only warns between once and twice its own limit; here that limit lies below ours."""
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 1000)

    with warnings.catch_warnings(record=True) as warned:
        assert refusal_of(picture_bytes(size=(40, 40))) == TOO_MANY_PIXELS

    assert warned == []
    assert cleaned(picture_bytes(size=(30, 30))).width == 30


def test_more_bytes_than_allowed():
    with pytest.raises(Refusal, match="The file is larger than 1 MB; make the picture smaller and choose it again"):
        clean(picture_bytes() + bytes(2**20), most_bytes=2**20, most_pixels=10**6)


def test_passes_over_the_same_picture_are_counted():
    data = picture_bytes(size=(64, 64), progressive=True)
    scan = data[data.rindex(b"\xff\xda") : -2]

    assert cleaned(data[:-2] + scan * 5 + data[-2:]).width == 64
    assert refusal_of(data[:-2] + scan * 30 + data[-2:]) == TOO_MANY_PARTS


def test_parts_are_counted():
    """Measured without the count: 8 MB of empty parts kept the decoder busy for six to nineteen seconds."""
    jpeg, png = picture_bytes(), picture_bytes("PNG")
    for many in (segment(0xFE, b""), segment(0xE5, b""), segment(0xDB, b""), b"\xff"):
        assert refusal_of(jpeg[:2] + many * (MOST_PARTS + 1) + jpeg[2:]) == TOO_MANY_PARTS
        assert cleaned(jpeg[:2] + many * 500 + jpeg[2:]).width == 90
    for many in (chunk(b"tEXt", b"a\0"), chunk(b"IDAT"), chunk(b"teSt")):
        assert refusal_of(png[:33] + many * (MOST_PARTS + 1) + png[33:]) == TOO_MANY_PARTS


def test_packed_texts_never_reach_the_decoder():
    """100 MB of text in 100 kB, many times over; Pillow alone would refuse or unpack them."""
    packed = zlib.compress(b"a" * 100_000_000, 9)
    png = picture_bytes("PNG")
    for text in (chunk(b"zTXt", b"k\0\0" + packed), chunk(b"iTXt", b"k\0\1\0\0\0" + packed)):
        assert cleaned(png[:33] + text * 50 + png[33:]).width == 90


def test_a_profile_that_unpacks_to_too_much_is_refused():
    png = picture_bytes("PNG")

    assert refusal_of(png[:33] + chunk(b"iCCP", b"k\0\0" + zlib.compress(bytes(100_000_000), 9)) + png[33:]) == DAMAGED


# --- more than one picture, other colours


def test_several_pictures_in_one_file():
    animated = saved(noise(30, 20), "PNG", save_all=True, append_images=[noise(30, 20, seed=2)])
    once = saved(noise(30, 20), "PNG", save_all=True, append_images=[noise(30, 20, seed=2)], default_image=True)

    assert refusal_of(animated) == SEVERAL
    assert refusal_of(once) == SEVERAL
    # CIPA DC-007: undefined, panorama, disparity, multi-angle.
    for kind in (0, 0x020001, 0x020002, 0x020003):
        assert refusal_of(several_pictures(kind_of_second=kind)) == SEVERAL


def test_colours_for_print_or_measuring():
    assert refusal_of(saved(noise(30, 20).convert("CMYK"), "JPEG")) == ODD_COLOURS
    assert refusal_of(saved(Image.new("I;16", (9, 9), 40_000), "PNG")) == ODD_COLOURS


@pytest.mark.parametrize("broken", [b"nonsense" * 30, profile()[:200], profile()[:128] + bytes(300)])
def test_a_profile_that_cannot_be_read(broken):
    for kind in ("JPEG", "PNG"):
        assert refusal_of(saved(noise(30, 20), kind, icc_profile=broken)) == ODD_PROFILE


# --- the name


@pytest.mark.parametrize(
    ("name", "media_type"),
    [
        ("toe.jpg", "image/jpeg"), ("TOE.JPG", "image/jpeg"), ("toe.jpeg", "image/jpeg"),
        ("toe.html.jpg", "image/jpeg"), ("toe.png", "image/png"), ("toe.PNG", "image/png"),
    ],
)  # fmt: skip
def test_a_name_that_agrees(name, media_type):
    refuse_other_ending(name, media_type)


@pytest.mark.parametrize(
    ("name", "media_type"),
    [
        ("toe.png", "image/jpeg"), ("toe.jpg", "image/png"), ("toe.svg", "image/jpeg"), ("toe.jpg.html", "image/jpeg"),
        ("toe", "image/jpeg"), ("jpg", "image/jpeg"), ("toe.jpg ", "image/jpeg"), ("", "image/png"),
    ],
)  # fmt: skip
def test_a_name_that_says_something_else(name, media_type):
    with pytest.raises(Refusal, match="its name does not end in"):
        refuse_other_ending(name, media_type)
