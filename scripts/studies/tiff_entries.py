"""The entries of TIFF directories (TIFF 6.0, section 2), read by a reader that darklib does not use: to damage them,
and to see what a damaged file itself says.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass

WIDTHS = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
POINTERS = (330, 34665, 34853)


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry: directory: where its directory begins; at: where the twelve bytes are; value: None where not in the
    file.
    """

    directory: int
    at: int
    tag: int
    form: int
    count: int
    value: bytes | None
    value_at: int

    @property
    def said(self) -> tuple[int, int, int, bytes | None]:
        """What it says, wherever it stands."""
        return self.tag, self.form, self.count, self.value


def order_of(data: bytes) -> str:
    """`<` or `>` for struct."""
    return "<" if data[:2] == b"II" else ">"


def entries(data: bytes, start: int = 0) -> Iterator[Entry]:
    """All entries of all directories that can be reached from the TIFF header at `start`."""
    order = order_of(data[start : start + 2])
    if len(data) < start + 8:
        return
    waiting = [struct.unpack_from(order + "I", data, start + 4)[0]]
    seen: set[int] = set()
    while waiting and len(seen) < 40:
        at = waiting.pop() + start
        if at == start or at in seen or at + 2 > len(data):
            continue
        seen.add(at)
        count = struct.unpack_from(order + "H", data, at)[0]
        for number in range(min(count, 500)):
            place = at + 2 + 12 * number
            if place + 12 > len(data):
                break
            tag, form, values = struct.unpack_from(order + "HHI", data, place)
            size = WIDTHS.get(form, 1) * values
            where = place + 8
            if size > 4:
                where = start + struct.unpack_from(order + "I", data, place + 8)[0]
            value = data[where : where + size] if where + size <= len(data) else None
            yield Entry(at, place, tag, form, values, value, where)
            if tag in POINTERS and value is not None and form in (3, 4, 13):
                letter = "H" if form == 3 else "I"
                waiting += struct.unpack_from(f"{order}{min(values, 8)}{letter}", value)
        behind = at + 2 + 12 * count
        if behind + 4 <= len(data):
            waiting.append(struct.unpack_from(order + "I", data, behind)[0])


def tiff_start(data: bytes) -> int | None:
    """Where a TIFF structure begins in a raw file: at its first byte, behind the mark of an Exif block, in a TTW block;
    None where there is none.
    """
    if data[:2] in (b"II", b"MM"):
        return 0
    for mark, skip in ((b"Exif\0\0", 6), (b"\0TTW", 8)):
        found = data.find(mark)
        if found >= 0:
            return found + skip
    return None
