"""The outline of a picture file before any decoder sees it: whole, one picture, few parts.

A decoder spends time on every part it meets, so a small file of a million empty parts, or of a thousand passes over the
same picture, would keep it busy for minutes. Markers and chunks as in ITU-T T.81 annex B (JPEG) and in the W3C
recommendation Portable Network Graphics, section 5.
"""

import re
import zlib
from collections.abc import Iterator

JPEG_START, PNG_START = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
MOST_PARTS = 10_000
# Encoders make about ten passes of a progressive picture.
MOST_SCANS = 20
END_OF_IMAGE, START_OF_SCAN = 0xD9, 0xDA
FILL = 0xFF
# In coded data FF is followed by 00, by a restart marker or by more FF; anything else ends it.
NEXT_MARKER = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]")
ANIMATION = {b"acTL", b"fcTL", b"fdAT"}
# Pixels, colours, and which way up. Text, which may be packed a thousandfold, never reaches the decoder.
NEEDED_CHUNKS = {b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND", b"iCCP", b"eXIf"}


class Refusal(Exception):
    """Why a file is not taken, in one sentence for whoever sent it."""


NOT_A_PICTURE = "This is not a JPEG or PNG picture; save it as JPEG and choose it again"
DAMAGED = "The picture is damaged or incomplete; take it or save it again"
SEVERAL = "The file holds more than one picture; save the one you want as JPEG and choose that"
TOO_MANY_PARTS = "The file is built in an unusual way; save the picture anew as JPEG and choose that"


def outlined(data: bytes) -> bytes:
    """What the decoder may see: the file up to the end of its picture, a PNG without its texts.

    Raises Refusal if it is neither JPEG nor PNG, is cut short, holds an animation, or has more than 10,000 parts or 20
    passes.
    """
    if data.startswith(JPEG_START):
        return data[: end_of_jpeg(data)]
    if data.startswith(PNG_START):
        kept = [part for kind, part in chunks(data) if kind in NEEDED_CHUNKS]
        return PNG_START + b"".join(kept)
    raise Refusal(NOT_A_PICTURE)


def end_of_jpeg(data: bytes) -> int:
    """Where the first picture ends, its end marker included."""
    position, scans = 2, 0
    for _ in range(MOST_PARTS):
        marker = data[position : position + 2]
        if len(marker) < 2 or marker[0] != FILL:
            raise Refusal(DAMAGED)
        if marker[1] == FILL:
            position += 1
            continue
        if marker[1] == END_OF_IMAGE:
            return position + 2
        position = after_segment(data, position)
        if marker[1] == START_OF_SCAN:
            scans += 1
            if scans > MOST_SCANS:
                raise Refusal(TOO_MANY_PARTS)
            position = after_coded_data(data, position)
    raise Refusal(TOO_MANY_PARTS)


def after_segment(data: bytes, position: int) -> int:
    """A segment tells its length in the two bytes after its marker, which count themselves."""
    length = int.from_bytes(data[position + 2 : position + 4])
    if length < 2:
        raise Refusal(DAMAGED)
    return position + 2 + length


def after_coded_data(data: bytes, position: int) -> int:
    found = NEXT_MARKER.search(data, position)
    if found is None:
        raise Refusal(DAMAGED)
    return found.start()


def chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Kind and bytes of each chunk of a PNG up to its end."""
    position = len(PNG_START)
    for _ in range(MOST_PARTS):
        length, kind = int.from_bytes(data[position : position + 4]), data[position + 4 : position + 8]
        after = position + 12 + length
        if len(kind) < 4:
            raise Refusal(DAMAGED)
        if kind in NEEDED_CHUNKS and not checks(data[position:after]):
            raise Refusal(DAMAGED)
        if kind in ANIMATION:
            raise Refusal(SEVERAL)
        yield kind, data[position:after]
        if kind == b"IEND":
            return
        position = after
    raise Refusal(TOO_MANY_PARTS)


def checks(part: bytes) -> bool:
    """Whether the last four bytes of a chunk are the checksum of its kind and data."""
    return zlib.crc32(part[4:-4]) == int.from_bytes(part[-4:])
