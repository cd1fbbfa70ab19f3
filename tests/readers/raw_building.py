"""Small files built like the raw files of cameras: real structure, invented cameras, random pixels.

Where recognition needs the Make tag of a maker, the tag holds what such files hold.
"""

import struct
from collections.abc import Sequence

import numpy as np

BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SRATIONAL = 1, 2, 3, 4, 5, 7, 10
Tag = tuple[int, int, object]
"""Number, type, value: a text, a number, or a sequence of numbers (rationals as numerator, denominator in turn)."""

_LETTERS = {BYTE: "B", SHORT: "H", LONG: "I", RATIONAL: "I", UNDEFINED: "B", SRATIONAL: "i"}


def _packed(kind: int, value: object, order: str) -> tuple[int, bytes]:
    if kind == ASCII:
        raw = str(value).encode() + b"\0"
        return len(raw), raw
    values = list(value) if isinstance(value, (Sequence, bytes)) else [value]
    raw = struct.pack(f"{order}{len(values)}{_LETTERS[kind]}", *values)
    return len(values) // (2 if kind in (RATIONAL, SRATIONAL) else 1), raw


def directory(tags: Sequence[Tag], at: int, order: str = "<", following: int = 0) -> bytes:
    """A directory that stands at this offset, its longer values behind it."""
    cells, values = b"", b""
    behind = at + 2 + 12 * len(tags) + 4
    for number, kind, value in sorted(tags, key=lambda tag: tag[0]):
        count, raw = _packed(kind, value, order)
        if len(raw) > 4:
            cell = struct.pack(order + "I", behind + len(values))
            values += raw + b"\0" * (len(raw) % 2)
        else:
            cell = raw.ljust(4, b"\0")
        cells += struct.pack(order + "HHI", number, kind, count) + cell
    return struct.pack(order + "H", len(tags)) + cells + struct.pack(order + "I", following) + values


def tiff(
    main: Sequence[Tag],
    exif: Sequence[Tag] = (),
    picture: Sequence[Tag] | None = None,
    data: bytes = b"",
    magic: bytes = b"II*\0",
    gap: bytes = b"",
) -> bytes:
    """A TIFF-like file: main directory, Exif block, and the sensor's data in a sub-directory, else in the main one.

    gap: bytes between the first eight and the main directory.
    """
    order = "<" if magic[:2] == b"II" else ">"
    head = magic + struct.pack(order + "I", 8 + len(gap)) + gap
    at_main = len(head)
    pointers: list[Tag] = []

    def laid_out(exif_at: int, picture_at: int, data_at: int) -> tuple[bytes, bytes, bytes]:
        own = [(273, LONG, data_at), (279, LONG, len(data))] if data else []
        pointers[:] = [(34665, LONG, exif_at)] if exif else []
        if picture is not None:
            pointers.append((330, LONG, picture_at))
        first = directory([*main, *pointers, *([] if picture is not None else own)], at_main, order)
        second = directory(list(exif), exif_at, order) if exif else b""
        third = directory([*picture, *own], picture_at, order) if picture is not None else b""
        return first, second, third

    first, second, third = laid_out(0, 0, 0)
    exif_at = at_main + len(first)
    picture_at = exif_at + len(second)
    data_at = picture_at + len(third)
    first, second, third = laid_out(exif_at, picture_at, data_at)
    return head + first + second + third + data


EXIF: tuple[Tag, ...] = (
    (0x829A, RATIONAL, (300, 1)),
    (0x8827, SHORT, 1600),
    (0x9003, ASCII, "2024:01:02 03:04:05"),
    (0xA431, ASCII, "SN-77"),
    (0x920A, RATIONAL, (85, 1)),
    (0x829D, RATIONAL, (28, 10)),
    (0xA434, ASCII, "Harrowfen 85"),
)


def mosaic(width: int = 64, height: int = 48, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).integers(200, 4000, (height, width)).astype(np.uint16)


def picture_tags(width: int, height: int, compression: int = 1, bits: int = 16) -> list[Tag]:
    return [
        (256, LONG, width), (257, LONG, height), (258, SHORT, bits), (259, SHORT, compression), (262, SHORT, 32803),
        (277, SHORT, 1), (278, LONG, height), (33421, SHORT, (2, 2)), (33422, BYTE, (0, 1, 1, 2)),
    ]  # fmt: skip


def names(make: str, model: str = "Model One") -> list[Tag]:
    return [(271, ASCII, make), (272, ASCII, model)]


def box(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I4s", 8 + len(content), name) + content


CR3_TAGS = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")


def cr3(shot_block: Sequence[int], lighting: Sequence[int] = (60, 0, 0, 0, 0, 0), picture: bytes = b"") -> bytes:
    """A CR3: brand, boxes of tags, and the sensor's data."""
    first = tiff([*names("Maker"), (306, ASCII, "2024:01:02 03:04:05")])
    second = tiff(list(EXIF))
    third = tiff([(4, SHORT, tuple(shot_block)), (0x4018, LONG, tuple(lighting))])
    inner = box(b"CMT1", first) + box(b"CMT2", second) + box(b"CMT3", third)
    moov = box(b"moov", box(b"uuid", CR3_TAGS + inner))
    return box(b"ftyp", b"crx \0\0\0\1crx isom") + moov + (box(b"mdat", picture) if picture else b"")


def jpeg_with_exif(tags: bytes) -> bytes:
    block = b"Exif\0\0" + tags
    return b"\xff\xd8\xff\xe1" + struct.pack(">H", 2 + len(block)) + block + b"\xff\xd9"


def raf(width: int, height: int, data: bytes) -> bytes:
    """A RAF: magic, offsets, the JPEG with the tags, the directory of sizes, and the sensor's data."""
    jpeg = jpeg_with_exif(tiff(names("FUJIFILM", "Model Two"), EXIF))
    sizes = struct.pack(">I2H2H", 1, 0x100, 4, height, width)
    jpeg_at = 160
    sizes_at = jpeg_at + len(jpeg)
    data_at = sizes_at + len(sizes)
    head = b"FUJIFILMCCD-RAW 0201FF000000Model Two".ljust(84, b"\0")
    head += struct.pack(">6I", jpeg_at, len(jpeg), sizes_at, len(sizes), data_at, len(data))
    return head.ljust(jpeg_at, b"\0") + jpeg + sizes + data


def mrw(width: int, height: int, data: bytes, bits: int = 16) -> bytes:
    """An MRW: block of sizes, block of tags, and the sensor's data."""
    tags = tiff(names("Maker", "Model Three"), EXIF)
    sizes = b"27730001" + struct.pack(">4H2B", height, width, height, width, bits, 12) + b"\0" * 6
    blocks = struct.pack(">4sI", b"\0PRD", len(sizes)) + sizes + struct.pack(">4sI", b"\0TTW", len(tags)) + tags
    return struct.pack(">4sI", b"\0MRM", len(blocks)) + blocks + data
