"""The skeleton of TIFF-based raw files: directories, and where the data they point to end (TIFF 6.0, section 2).

A decoder does not notice a raw file whose end is missing as long as the picture's start is there; sums of offsets do.
"""

import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import prod

from darklib.readers.tag_forms import PICTURE_FORMS

AtMost = Callable[[int, int], bytes]

MOST_DIRECTORIES = 64
MOST_ENTRIES = 1000
MOST_VALUES = 200_000

WIDTH, HEIGHT, BITS, COMPRESSION, PHOTOMETRIC, MAKE, MODEL = 256, 257, 258, 259, 262, 271, 272
STRIP_OFFSETS, SAMPLES, STRIP_COUNTS, TILE_OFFSETS, TILE_COUNTS, SUB_DIRECTORIES = 273, 277, 279, 324, 325, 330
SAMPLE_FORMAT, EXIF_DIRECTORY, CFA_PATTERN_DIM, CFA_PATTERN, DNG_VERSION = 339, 34665, 33421, 33422, 50706
UNIQUE_MODEL, BLACK_PATTERN, BLACK_LEVEL = 50708, 50713, 50714
JPEG_OFFSET, JPEG_COUNT = 513, 514
EXPOSURE_TIME, TIME_TAKEN, SERIAL, AMBIENT = 0x829A, 0x9003, 0xA431, 0x9400
_TOLD = frozenset(
    (MAKE, MODEL, STRIP_OFFSETS, STRIP_COUNTS, TILE_OFFSETS, TILE_COUNTS, EXPOSURE_TIME, TIME_TAKEN, SERIAL)
)
"""Tags without which a frame is not known; where their values lie beyond the end of the file, the file was cut."""

CFA_PHOTOMETRIC, LINEAR_PHOTOMETRIC = 32803, 34892

_FORMS = {1: "B", 2: "s", 3: "H", 4: "I", 5: "II", 6: "b", 7: "s", 8: "h", 9: "i", 10: "ii", 11: "f", 12: "d", 13: "I"}


@dataclass(frozen=True, slots=True)
class Directory:
    """One image file directory: values by tag number. Text as str; rationals as numerator, denominator in turn.

    odd: tags of how the picture is stored that are in another form than the standard's, or not in the file.
    """

    at: int
    values: dict[int, tuple[int | float, ...] | str]
    odd: tuple[int, ...] = ()

    def whole(self, tag: int) -> int | None:
        """The first value of a tag as an integer, or None."""
        found = self.values.get(tag)
        return int(found[0]) if found and not isinstance(found, str) else None

    def wholes(self, tag: int) -> tuple[int, ...]:
        """All values of a tag as integers."""
        found = self.values.get(tag)
        return () if found is None or isinstance(found, str) else tuple(int(value) for value in found)

    def text(self, tag: int) -> str:
        """A text, stripped; empty where there is none."""
        found = self.values.get(tag)
        return found.strip() if isinstance(found, str) else ""

    @property
    def data_end(self) -> int:
        """Where the last strip, tile or JPEG of this directory ends; 0 where it has none."""
        ends = [0]
        for offsets, counts in ((STRIP_OFFSETS, STRIP_COUNTS), (TILE_OFFSETS, TILE_COUNTS), (JPEG_OFFSET, JPEG_COUNT)):
            pairs = zip(self.wholes(offsets), self.wholes(counts), strict=False)
            ends += [offset + count for offset, count in pairs]
        return max(ends)

    @property
    def data_count(self) -> int:
        """Bytes of all its strips or tiles."""
        return sum(self.wholes(STRIP_COUNTS)) or sum(self.wholes(TILE_COUNTS))

    @property
    def counts_agree(self) -> bool:
        """Whether there is one length for each strip and tile, and the black levels fill their pattern (DNG 1.4)."""
        for offsets, counts in ((STRIP_OFFSETS, STRIP_COUNTS), (TILE_OFFSETS, TILE_COUNTS)):
            if len(self.wholes(offsets)) != len(self.wholes(counts)):
                return False
        pattern = prod(self.wholes(BLACK_PATTERN)) * (self.whole(SAMPLES) or 1)
        # A level may be a fraction, of two numbers.
        return len(self.wholes(BLACK_LEVEL)) in (0, pattern, 2 * pattern)

    @property
    def is_mosaic(self) -> bool:
        """Whether it says that it holds a colour filter mosaic."""
        return self.whole(PHOTOMETRIC) == CFA_PHOTOMETRIC


@dataclass(frozen=True, slots=True)
class Skeleton:
    """All directories found, the main one first; cut: whether some of it lies beyond the end of the file."""

    directories: tuple[Directory, ...]
    cut: bool

    @property
    def main(self) -> Directory | None:
        return self.directories[0] if self.directories else None

    @property
    def data_end(self) -> int:
        """Where the furthest data end."""
        return max((directory.data_end for directory in self.directories), default=0)

    @property
    def picture(self) -> Directory | None:
        """The directory of the sensor's data: the largest mosaic, else the largest linear picture."""
        for wanted in (CFA_PHOTOMETRIC, LINEAR_PHOTOMETRIC):
            found = [one for one in self.directories if one.whole(PHOTOMETRIC) == wanted]
            if found:
                return max(found, key=lambda one: (one.whole(WIDTH) or 0) * (one.whole(HEIGHT) or 0))
        return None


def is_tiff(head: bytes) -> bool:
    """Whether these are the first bytes of a TIFF file or of a raw file built like one (their fourth byte differs)."""
    return head[:4] in (b"II*\0", b"MM\0*", b"IIRO", b"IIRS", b"MMOR", b"IIU\0")


def skeleton(read: AtMost, size: int, start: int = 0) -> Skeleton:
    """The directories of a TIFF structure that begins at `start`. Never raises: what cannot be read is left out."""
    head = read(start, 8)
    if len(head) < 8:
        return Skeleton((), cut=True)
    order = "<" if head[:2] == b"II" else ">"
    waiting = [struct.unpack(order + "I", head[4:8])[0]]
    seen: set[int] = set()
    found: list[Directory] = []
    cut = False
    while waiting and len(found) < MOST_DIRECTORIES:
        at = waiting.pop(0)
        if at == 0 or at in seen:
            continue
        seen.add(at)
        if start + at + 6 > size:
            cut = True
            continue
        directory, following, whole = _directory(read, start, at, order, size)
        cut = cut or not whole
        found.append(directory)
        waiting += [*directory.wholes(SUB_DIRECTORIES), *directory.wholes(EXIF_DIRECTORY), following]
    return Skeleton(tuple(found), cut)


def _directory(read: AtMost, start: int, at: int, order: str, size: int) -> tuple[Directory, int, bool]:
    """The directory at an offset, the offset of the next one, and whether all of it lies inside the file."""
    count = struct.unpack(order + "H", read(start + at, 2))[0]
    if count > MOST_ENTRIES:
        return Directory(at, {}), 0, True
    raw = read(start + at + 2, count * 12 + 4)
    values: dict[int, tuple[int | float, ...] | str] = {}
    odd: list[int] = []
    whole = len(raw) == count * 12 + 4
    for place in range(0, len(raw) // 12 * 12, 12):
        if place >= count * 12:
            break
        tag, form, number = struct.unpack(order + "HHI", raw[place : place + 8])
        letters = _FORMS.get(form)
        forms, usual = PICTURE_FORMS.get(tag, ((form,), None))
        if form not in forms or (usual is not None and number != usual) or (tag in PICTURE_FORMS and number == 0):
            odd.append(tag)
        if letters is None or not 0 < number <= MOST_VALUES:
            odd += [tag] if tag in PICTURE_FORMS else []
            continue
        width = struct.calcsize("=" + letters) * number
        cell = raw[place + 8 : place + 12]
        if width > 4:
            offset = start + struct.unpack(order + "I", cell)[0]
            if offset + width > size:
                whole = whole and tag not in _TOLD
                odd.append(tag)
                continue
            cell = read(offset, width)
        values[tag] = _values(cell[:width], letters, number, order)
    following = struct.unpack(order + "I", raw[count * 12 : count * 12 + 4])[0] if whole else 0
    return Directory(at, values, tuple(odd)), following, whole


def _values(cell: bytes, letters: str, number: int, order: str) -> tuple[int | float, ...] | str:
    if letters == "s":
        return cell.split(b"\0")[0].decode("utf-8", "replace")
    return struct.unpack(f"{order}{letters * number if len(letters) > 1 else f'{number}{letters}'}", cell)


def jpeg_frame(head: bytes) -> int | None:
    """The marker of a JPEG's frame header, 0xC3 for lossless (ITU T.81, table B.1); None where there is none."""
    for marker, _ in _segments(head):
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            return marker
    return None


def _segments(head: bytes) -> Iterator[tuple[int, int]]:
    place = 2
    while head[:2] == b"\xff\xd8" and place + 4 <= len(head) and head[place] == 0xFF:
        yield head[place + 1], place
        place += 2 + struct.unpack(">H", head[place + 2 : place + 4])[0]
