"""A camera raw file in memory: an uncompressed DNG of the sensor's colour mosaic, with its Exif block.

DNG is an openly published format on top of TIFF 6.0. No word in the file says what the frame was taken for, as in
the raw files of real cameras.
"""

import struct
from dataclasses import dataclass
from fractions import Fraction
from io import BytesIO

import numpy as np
import numpy.typing as npt
import tifffile

SHORT, LONG, RATIONAL, ASCII, UNDEFINED, SRATIONAL, BYTE = 3, 4, 5, 2, 7, 10, 1
EXIF_POINTER, PLACEHOLDER = 34665, 34666
COLOUR_NUMBERS = {"R": 0, "G": 1, "B": 2}
Entry = tuple[int, int, int, bytes]
"""Tag, type, count and little-endian bytes."""


@dataclass(frozen=True, slots=True)
class RawFacts:
    """What the camera notes beside the pixels.

    cfa: letters row by row, 4 for 2 by 2 or 36 for 6 by 6; local_time: `YYYY:MM:DD HH:MM:SS` by the camera's clock,
    without a zone; zone: `+HH:MM` where the camera knows one; ambient_c: of the air about the camera (Exif 2.31),
    never of the sensor; black_dn, white_dn: levels of no light and of the end of the range.
    """

    make: str
    model: str
    serial: str
    iso: int
    exposure: Fraction
    local_time: str
    cfa: str
    black_dn: int
    white_dn: int
    zone: str | None = None
    ambient_c: float | None = None


def dng_bytes(pixels: npt.NDArray[np.uint16], facts: RawFacts) -> bytes:
    """A whole file with one mosaic, uint16 of shape (height, width), larger than 16 by 16 pixels."""
    if min(pixels.shape) <= 16:
        raise ValueError("raw decoders refuse images of 16 by 16 pixels or less")
    side = {4: 2, 36: 6}[len(facts.cfa)]
    pattern = bytes(COLOUR_NUMBERS[letter] for letter in facts.cfa)
    name = f"{facts.make} {facts.model}" if not facts.model.startswith(facts.make) else facts.model
    one, none = (1, 1), (0, 1)
    tags = [
        (271, ASCII, 0, facts.make),
        (272, ASCII, 0, facts.model),
        (33421, SHORT, 2, (side, side)),
        (33422, BYTE, len(pattern), pattern),
        (50706, BYTE, 4, bytes((1, 4, 0, 0))),
        (50707, BYTE, 4, bytes((1, 1, 0, 0))),
        (50708, ASCII, 0, name),
        (50713, SHORT, 2, (2, 2)),
        (50714, LONG, 4, (facts.black_dn,) * 4),
        (50717, LONG, 1, facts.white_dn),
        (50721, SRATIONAL, 9, (*one, *none, *none, *none, *one, *none, *none, *none, *one)),
        (50735, ASCII, 0, facts.serial),
        (50778, SHORT, 1, 21),
        # tifffile drops the pointer to an Exif block without a word; this stands in its place until patched below.
        (PLACEHOLDER, LONG, 1, 0xFFFFFFFF),
    ]
    image = BytesIO()
    with tifffile.TiffWriter(image, byteorder="<") as writer:
        writer.write(
            pixels,
            photometric=32803,
            metadata=None,
            software=False,
            subfiletype=0,
            datetime=facts.local_time,
            rowsperstrip=pixels.shape[0],
            extratags=[(*tag, True) for tag in tags],
        )
    return _with_exif(image, _exif(facts))


def _exif(facts: RawFacts) -> list[Entry]:
    exposure = struct.pack("<II", facts.exposure.numerator, facts.exposure.denominator)
    entries: list[Entry] = [
        (0x829A, RATIONAL, 1, exposure),
        (0x8827, SHORT, 1, struct.pack("<H", min(facts.iso, 65535))),
        (0x8830, SHORT, 1, struct.pack("<H", 2)),
        (0x8832, LONG, 1, struct.pack("<I", facts.iso)),
        (0x9000, UNDEFINED, 4, b"0231"),
        _text(0x9003, facts.local_time),
        _text(0xA431, facts.serial),
    ]
    if facts.zone is not None:
        entries.append(_text(0x9011, facts.zone))
    if facts.ambient_c is not None:
        entries.append((0x9400, SRATIONAL, 1, struct.pack("<ii", round(facts.ambient_c * 10), 10)))
    return entries


def _text(tag: int, text: str) -> Entry:
    raw = text.encode("ascii") + b"\0"
    return (tag, ASCII, len(raw), raw)


def _with_exif(image: BytesIO, entries: list[Entry]) -> bytes:
    """The file with the block appended and the placeholder turned into a pointer to it."""
    data = bytearray(image.getvalue())
    data += b"\0" * (len(data) % 2)
    place = len(data)
    data += _directory(entries, place)
    image.seek(0)
    with tifffile.TiffFile(image) as written:
        at = written.pages.first.tags[PLACEHOLDER].offset
    data[at : at + 2] = struct.pack("<H", EXIF_POINTER)
    data[at + 8 : at + 12] = struct.pack("<I", place)
    return bytes(data)


def _directory(entries: list[Entry], place: int) -> bytes:
    """A TIFF directory at this offset: sorted entries, then the values too long to stand in them."""
    cells, values = b"", b""
    values_at = place + 2 + 12 * len(entries) + 4
    for tag, type_, count, raw in sorted(entries):
        if len(raw) > 4:
            cell = struct.pack("<I", values_at + len(values))
            values += raw + b"\0" * (len(raw) % 2)
        else:
            cell = raw.ljust(4, b"\0")
        cells += struct.pack("<HHI", tag, type_, count) + cell
    return struct.pack("<H", len(entries)) + cells + struct.pack("<I", 0) + values
