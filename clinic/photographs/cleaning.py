"""Makes a new picture from the pixels of a sent one, and nothing else of it.

Place, time, device, comments, texts, thumbnails, profiles and whatever follows the end of the picture are not removed:
they are never copied. Measured at the limits (40 megapixels, 8 MB): at most 290 MB and a few seconds.
"""

import hashlib
import struct
import threading
import warnings
from dataclasses import dataclass
from io import BytesIO

from PIL import Image, ImageCms, ImageFile, MpoImagePlugin

from clinic.photographs.outline import DAMAGED, SEVERAL, Refusal, outlined

FORMATS = ("JPEG", "PNG")
MEDIA_TYPES = {"JPEG": "image/jpeg", "PNG": "image/png"}
ENDINGS = {"image/jpeg": (".jpg", ".jpeg", ".jpe", ".jfif"), "image/png": (".png",)}
PREVIEW_TYPE = MEDIA_TYPES["JPEG"]
LONGEST_EDGE, PREVIEW_EDGE = 2400, 480
MODES = {"1", "L", "LA", "P", "PA", "RGB", "RGBA"}
ORIENTATION = 0x0112
# What turns a picture upright: where its first row and first column lie, EXIF 2.32 (CIPA DC-008), tag Orientation.
TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
UNREADABLE = (struct.error, KeyError, SyntaxError, TypeError, ValueError, IndexError, OverflowError)
# CIPA DC-007, type code of an individual image: previews that a camera adds to an ordinary photograph.
MP_ENTRIES, PREVIEW_KIND = 0xB002, "Large Thumbnail"
ROWS_AT_ONCE = 64
SRGB = ImageCms.createProfile("sRGB")
# One picture in memory at a time, however many people send one.
ONE_AT_A_TIME = threading.Lock()

ODD_COLOURS = "The colours are stored in a form meant for printing or measuring; save the picture as an ordinary JPEG"
ODD_PROFILE = "The colour profile in the picture cannot be read; save the picture as an ordinary JPEG"


@dataclass(frozen=True)
class Clean:
    """A picture as it is stored. width, height: pixels, upright. preview: a JPEG of at most 480 pixels an edge."""

    data: bytes
    media_type: str
    width: int
    height: int
    preview: bytes

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.data).hexdigest()


def clean(data: bytes, *, most_bytes: int, most_pixels: int) -> Clean:
    """The picture in `data` made anew: upright, in sRGB, on white, at most 2400 pixels an edge, of the same type.

    data: a JPEG or PNG file as it was sent, of at most `most_bytes` bytes and `most_pixels` pixels.
    Raises Refusal for everything else; its text is one sentence for whoever sent the file.
    """
    if len(data) > most_bytes:
        raise Refusal(too_large(most_bytes))
    seen = outlined(data)
    with ONE_AT_A_TIME:
        try:
            kind, pixels = pixels_of(seen, most_pixels)
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as fault:
            raise Refusal(too_many_pixels(most_pixels)) from fault
        except Refusal:
            raise
        except Exception as fault:  # a decoder that is fed hostile bytes raises whatever it likes
            raise Refusal(DAMAGED) from fault
        fresh = Image.frombytes("RGB", pixels.size, pixels.tobytes())
        return Clean(encoded(fresh, kind), MEDIA_TYPES[kind], *fresh.size, preview=preview_of(fresh))


def refuse_other_ending(name: str, media_type: str) -> None:
    """Raises Refusal unless the file's name ends as its content says. The name is used for nothing else."""
    if not name.lower().endswith(ENDINGS[media_type]):
        kind = "JPEG" if media_type == "image/jpeg" else "PNG"
        raise Refusal(f"The picture is a {kind}, but its name does not end in {ENDINGS[media_type][0]}; rename it")


def too_large(most_bytes: int) -> str:
    return f"The file is larger than {most_bytes // 2**20} MB; make the picture smaller and choose it again"


def too_many_pixels(most_pixels: int) -> str:
    return f"The picture has more than {most_pixels // 10**6} megapixels; make it smaller and choose it again"


def pixels_of(data: bytes, most_pixels: int) -> tuple[str, Image.Image]:
    """Its kind (JPEG or PNG) and the picture in memory, still with what came along in the file."""
    # WeasyPrint, which prints the note, makes the decoder lenient for the whole process as soon as it is imported.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about odd tags, which go anyway
        # Filters belong to the whole process, so another thread may undo this one; refuse_form has a limit of its own.
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        with Image.open(BytesIO(data), formats=FORMATS) as picture:
            refuse_form(picture, most_pixels)
            kind = "PNG" if picture.format == "PNG" else "JPEG"
            turn, profile = TURNS.get(orientation_of(picture)), picture.info.get("icc_profile")
            picture.draft(None, (LONGEST_EDGE, LONGEST_EDGE))  # a JPEG can be decoded at a half or a quarter
            picture.load()  # first, so that what the decoder needs is gone before there is a second picture
            small = in_srgb(shrunk(picture), profile)
    return kind, small.transpose(turn) if turn is not None else small


def refuse_form(picture: Image.Image, most_pixels: int) -> None:
    """What its head alone forbids; nothing is decoded yet."""
    width, height = picture.size
    if width * height > most_pixels:
        raise Refusal(too_many_pixels(most_pixels))
    if picture.format not in FORMATS and not all(PREVIEW_KIND in kind for kind in further_pictures(picture)):
        raise Refusal(SEVERAL)
    if picture.mode not in MODES:
        raise Refusal(ODD_COLOURS)


def further_pictures(picture: Image.Image) -> list[str]:
    """What the decoder calls the pictures behind the first one of a JPEG; previews of a camera are none."""
    entries = picture.mpinfo[MP_ENTRIES] if isinstance(picture, MpoImagePlugin.MpoImageFile) and picture.mpinfo else []
    return [str(entry["Attribute"]["MPType"]) for entry in entries[1:]]


def orientation_of(picture: Image.Image) -> int:
    """1 to 8; 1 where the file does not say, or says it in a way that cannot be read."""
    try:
        return int(picture.getexif().get(ORIENTATION, 1))
    except UNREADABLE:
        return 1


def shrunk(picture: Image.Image) -> Image.Image:
    """At most 2400 pixels an edge, on white. In strips: whole, a transparent picture would be in memory twice."""
    factor = max(1, max(picture.size) // LONGEST_EDGE)
    width, height = picture.size
    small = Image.new("RGB", (-(-width // factor), -(-height // factor)))
    step = factor * ROWS_AT_ONCE
    for top in range(0, height, step):
        strip = opaque(picture.crop((0, top, width, min(top + step, height))))
        small.paste(strip.reduce(factor), (0, top // factor))
    small.thumbnail((LONGEST_EDGE, LONGEST_EDGE), Image.Resampling.LANCZOS)
    return small


def opaque(picture: Image.Image) -> Image.Image:
    """What is transparent may hide another picture, so it becomes white."""
    if picture.mode not in {"LA", "PA", "RGBA"} and "transparency" not in picture.info:
        return picture.convert("RGB")
    shown = picture.convert("RGBA")
    white = Image.new("RGBA", shown.size, "white")
    white.alpha_composite(shown)
    return white.convert("RGB")


def in_srgb(picture: Image.Image, profile: bytes | None) -> Image.Image:
    """The colours as they were meant: without its profile a picture of a phone would look paler, red skin too."""
    if not profile:
        return picture
    try:
        source = ImageCms.ImageCmsProfile(BytesIO(profile))
        if source.profile.xcolor_space.strip() != "RGB":
            return picture
        return ImageCms.profileToProfile(picture, source, SRGB, outputMode="RGB") or picture
    except (ImageCms.PyCMSError, OSError) as fault:
        raise Refusal(ODD_PROFILE) from fault


def preview_of(fresh: Image.Image) -> bytes:
    small = fresh.copy()
    small.thumbnail((PREVIEW_EDGE, PREVIEW_EDGE), Image.Resampling.LANCZOS)
    return encoded(small, "JPEG", quality=80)


def encoded(fresh: Image.Image, kind: str, *, quality: int = 90) -> bytes:
    target = BytesIO()
    fresh.save(target, kind, **({"quality": quality} if kind == "JPEG" else {}))
    return target.getvalue()
