"""A DNG as cameras write it: the mosaic in tiles, each packed by lossless JPEG (ITU-T T.81, process 14; DNG 1.4)."""

from __future__ import annotations

import struct

import numpy as np
import numpy.typing as npt

from darklib.scenario.dng import RawFacts

Pixels = npt.NDArray[np.uint16]

# Category of a difference (T.81, table H.2) and how many bits its Huffman code has: the usual ones of a noisy frame
# are short. Ordered by length, as a Huffman table is written; the code of all ones stays free.
CODES = ((4, 2), (5, 2), (6, 2), (3, 4), (7, 4), (2, 5), (8, 5), (1, 6), (9, 6), (0, 7), (10, 7), (11, 8), (12, 8),
         (13, 9), (14, 9), (15, 10))  # fmt: skip
PRECISION = 14


def packed_tile(tile: Pixels) -> bytes:
    """One tile of shape (height, even width) as a whole JPEG stream.

    Even and odd columns are two components, so that every value is predicted from its left neighbour of the same colour
    (predictor 1).
    """
    height, width = tile.shape
    values = tile.astype(np.int32).reshape(height, width // 2, 2)
    differences = np.empty_like(values)
    differences[:, 1:] = values[:, 1:] - values[:, :-1]
    differences[1:, 0] = values[1:, 0] - values[:-1, 0]
    differences[0, 0] = values[0, 0] - (1 << (PRECISION - 1))
    flat = differences.reshape(-1)
    category = np.frexp(np.abs(flat).astype(np.float64))[1].astype(np.int64)
    code_of, length_of = _tables()
    extra = np.where(flat >= 0, flat, flat + (1 << category) - 1)
    words = (code_of[category] << category) | extra
    lengths = length_of[category] + category
    ends = np.cumsum(lengths)
    bits = np.ones(int(ends[-1]) + (-int(ends[-1])) % 8, dtype=np.uint8)
    starts = ends - lengths
    for place in range(int(lengths.max())):
        here = lengths > place
        bits[starts[here] + place] = (words[here] >> (lengths[here] - 1 - place)) & 1
    scan = np.packbits(bits).tobytes().replace(b"\xff", b"\xff\x00")
    frame = struct.pack(">BHHB", PRECISION, height, width // 2, 2) + bytes((0, 0x11, 0, 1, 0x11, 0))
    table = b"\x00" + bytes(sum(length == bits_ for _, length in CODES) for bits_ in range(1, 17))
    table += bytes(number for number, _ in CODES)
    scan_head = bytes((2, 0, 0, 1, 0, 1, 0, 0))
    parts = ((0xC3, frame), (0xC4, table), (0xDA, scan_head))
    head = b"".join(struct.pack(">BBH", 0xFF, mark, len(body) + 2) + body for mark, body in parts)
    return b"\xff\xd8" + head + scan + b"\xff\xd9"


def _tables() -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    codes, lengths = np.zeros(16, dtype=np.int64), np.zeros(16, dtype=np.int64)
    code, last = 0, CODES[0][1]
    for category, length in CODES:
        code <<= length - last
        codes[category], lengths[category] = code, length
        code, last = code + 1, length
    return codes, lengths


def packed_dng(tiles: list[bytes], shape: tuple[int, int], tile: tuple[int, int], facts: RawFacts) -> bytes:
    """A whole file. tiles: row by row; shape, tile: height and width of the mosaic and of one tile."""
    offsets, place = [], 8
    for one in tiles:
        offsets.append(place)
        place += len(one) + len(one) % 2
    body = b"".join(one + b"\0" * (len(one) % 2) for one in tiles)
    colours = bytes("RGB".index(letter) for letter in facts.cfa)
    exif = _directory(
        [
            _entry(0x829A, "II", facts.exposure.numerator, facts.exposure.denominator, kind=5, count=1),
            _entry(0x8827, "H", min(facts.iso, 65535), kind=3),
            _entry(0x9000, "4s", b"0231", kind=7, count=4),
            _text(0x9003, facts.local_time),
            _text(0xA431, facts.serial),
        ],
        place,
    )
    main_at = place + len(exif) + len(exif) % 2
    exif += b"\0" * (len(exif) % 2)
    directory = _directory(
        [
            _entry(254, "I", 0, kind=4),
            _entry(256, "I", shape[1], kind=4),
            _entry(257, "I", shape[0], kind=4),
            _entry(258, "H", 16, kind=3),
            _entry(259, "H", 7, kind=3),
            _entry(262, "H", 32803, kind=3),
            _text(271, facts.make),
            _text(272, facts.model),
            _entry(274, "H", 1, kind=3),
            _entry(277, "H", 1, kind=3),
            _text(306, facts.local_time),
            _entry(322, "I", tile[1], kind=4),
            _entry(323, "I", tile[0], kind=4),
            _entry(324, f"{len(tiles)}I", *offsets, kind=4, count=len(tiles)),
            _entry(325, f"{len(tiles)}I", *map(len, tiles), kind=4, count=len(tiles)),
            _entry(33421, "2H", 2, 2, kind=3, count=2),
            _entry(33422, "4s", colours, kind=1, count=4),
            _entry(34665, "I", place, kind=4),
            _entry(50706, "4s", bytes((1, 4, 0, 0)), kind=1, count=4),
            _text(50708, facts.model),
            _entry(50714, "H", facts.black_dn, kind=3),
            _entry(50717, "H", facts.white_dn, kind=3),
            _entry(50721, "18i", *(1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1), kind=10, count=9),
            _text(50735, facts.serial),
        ],
        main_at,
    )
    return b"II*\0" + struct.pack("<I", main_at) + body + exif + directory


Entry = tuple[int, int, int, bytes]


def _entry(tag: int, form: str, *values: object, kind: int, count: int = 1) -> Entry:
    return tag, kind, count, struct.pack("<" + form, *values)


def _text(tag: int, text: str) -> Entry:
    raw = text.encode("ascii") + b"\0"
    return tag, 2, len(raw), raw


def _directory(entries: list[Entry], place: int) -> bytes:
    cells, values = b"", b""
    after = place + 2 + 12 * len(entries) + 4
    for tag, kind, count, raw in entries:
        cell = raw.ljust(4, b"\0")
        if len(raw) > 4:
            cell = struct.pack("<I", after + len(values))
            values += raw + b"\0" * (len(raw) % 2)
        cells += struct.pack("<HHI", tag, kind, count) + cell
    return struct.pack("<H", len(entries)) + cells + b"\0\0\0\0" + values
