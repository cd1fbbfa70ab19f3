"""The parts of a FITS file: header units of 2880-byte blocks, and where their data lie (FITS Standard 4.0, section 3).

Works on bytes already in memory or on an open handle of which only the headers are read.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import prod

from darklib.readers.answers import Refused
from darklib.readers.cards import CARD, Card, parse

BLOCK = 2880
MOST_BLOCKS = 400
"""Longer headers, of 14,400 cards, are taken for damage: without a limit a file without END is read to its end."""

MOST_UNITS = 1000
_END = b"END".ljust(10)
_UNPRINTABLE = re.compile(rb"[^ -~]")
_NO_NAME = re.compile(rb"[^A-Za-z0-9_ .-]")
LAYOUT = 10
"""Bytes of each card that tell its keyword and whether it has a value."""

AtMost = Callable[[int, int], bytes]
"""(offset, count) -> bytes: as many as there are, at most count."""

_STRUCTURE = frozenset(
    (
        b"SIMPLE  ", b"XTENSION", b"BITPIX  ", b"PCOUNT  ", b"GCOUNT  ", b"GROUPS  ", b"BSCALE  ", b"BZERO   ",
        b"BLANK   ", b"ZIMAGE  ", b"ZBITPIX ", b"ZNAXIS  ", b"ZNAXIS1 ", b"ZNAXIS2 ", b"ZNAXIS3 ", b"ZNAXIS4 ",
        b"ZCMPTYPE", b"ZQUANTIZ", b"ZNAME1  ", b"ZVAL1   ", b"ZNAME2  ", b"ZVAL2   ",
    )
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Form:
    """How the data of a unit are laid out. structure: the cards that say so, by keyword. data_size: without padding.

    compressed: a tile-compressed image in a table (section 10). axes: lengths of the image's axes, NAXIS1 (the row's
    length) first; bitpix: of one stored number, negative for floating point; both of the image inside where compressed.
    """

    structure: dict[str, Card]
    data_size: int
    compressed: bool
    axes: tuple[int, ...]
    bitpix: int

    def real(self, keyword: str, default: float) -> float:
        """A structural keyword that must be a number. Raises Refused 'damaged'."""
        card = self.structure.get(keyword)
        if card is None or card.value is None:
            return default
        if isinstance(card.value, bool) or not isinstance(card.value, (int, float)):
            raise Refused("damaged", f"the header cannot be understood: {keyword} is {card.text!r}, not a number")
        return float(card.value)

    @property
    def is_image(self) -> bool:
        """Whether the unit holds an image of at least two axes, none of them empty."""
        sort = self.structure.get("XTENSION")
        if sort is not None and sort.value != "IMAGE" and not self.compressed:
            return False
        return len(self.axes) >= 2 and min(self.axes) > 0


@dataclass(frozen=True, slots=True)
class Unit:
    """One header and data unit. header_at, data_at: bytes from the start of the file.

    raw: the header's cards as they stand, END left out. layout: the first ten bytes of each card. blank_behind: whether
    nothing but blanks follows END, as it must (section 3.3.1).
    """

    number: int
    header_at: int
    data_at: int
    raw: bytes
    layout: bytes
    form: Form
    blank_behind: bool = True

    @property
    def data_end(self) -> int:
        """Where its data end, padding left out."""
        return self.data_at + self.form.data_size

    @property
    def padded_end(self) -> int:
        """Where the next unit begins."""
        return self.data_at + -(-self.form.data_size // BLOCK) * BLOCK

    def card(self, keyword: str) -> Card | None:
        """The first card of a keyword of at most eight letters, or None."""
        name = keyword.encode().ljust(8)
        for card, at in enumerate(range(0, len(self.layout), LAYOUT)):
            if self.layout[at : at + 8] == name:
                return parse(self.raw[card * CARD : (card + 1) * CARD])
        return None


def units(read: AtMost, size: int) -> Iterator[Unit]:
    """The units one after the other. read gives bytes at an offset; size: of the whole file.

    Raises Refused 'damaged' or 'truncated' for a header that cannot be read. What follows the last unit and is no
    header (special records, zeros of a tape) ends the walk without a word, as the standard allows it (section 3.5).
    """
    place = 0
    for number in range(MOST_UNITS):
        if number and read(place, 8) != b"XTENSION":
            return
        unit = _unit(read, place, number, size)
        yield unit
        place = unit.padded_end
        if place >= size:
            return


def _unit(read: AtMost, place: int, number: int, size: int) -> Unit:
    raw, layout, behind = _header(read, place, size)
    at = _structural(layout)
    form = _form(b"".join([raw[start : start + CARD] for start in at]))
    return Unit(number, place, place + (len(raw) // BLOCK + 1) * BLOCK, raw, layout, form, not behind.strip(b" "))


@lru_cache(maxsize=512)
def strange_keywords(layout: bytes) -> tuple[bytes, ...]:
    """Keywords that no writer of headers means: with bytes that cannot be printed or, before a value, with signs that
    stand in no name. Small letters, blanks and full stops within are seen in honest files.
    """
    starts = (layout[at : at + LAYOUT] for at in range(0, len(layout), LAYOUT))
    return tuple(
        start[:8]
        for start in starts
        if _UNPRINTABLE.search(start[:8]) or (start[8:] == b"= " and _NO_NAME.search(start[:8]))
    )


@lru_cache(maxsize=1024)
def _form(cards: bytes) -> Form:
    """What the structural cards say together; the same for every frame of a series."""
    structure: dict[str, Card] = {}
    for at in range(0, len(cards), CARD):
        card = parse(cards[at : at + CARD])
        if card is not None:
            structure[card.keyword] = card
    compressed = "ZIMAGE" in structure and structure["ZIMAGE"].value is True
    letter = "Z" if compressed else ""
    return Form(
        structure, _data_size(structure), compressed, _axes(structure, letter), _whole(structure, f"{letter}BITPIX")
    )


@lru_cache(maxsize=512)
def _structural(layout: bytes) -> tuple[int, ...]:
    """Where the structural cards stand in headers of this layout, the first of each keyword."""
    found: dict[bytes, int] = {}
    for card, at in enumerate(range(0, len(layout), LAYOUT)):
        name = layout[at : at + 8]
        if name in _STRUCTURE or name[:5] == b"NAXIS":
            found.setdefault(name, card * CARD)
    return tuple(found.values())


def _header(read: AtMost, place: int, size: int) -> tuple[bytes, bytes, bytes]:
    """The cards before END, their layout, and what fills the block behind END. Most headers fit into the first read of
    three blocks.
    """
    raw = read(place, 3 * BLOCK)
    starts: list[bytes] = []
    while True:
        scanned = len(starts)
        until = min(len(raw) // CARD, scanned + BLOCK // CARD)
        starts += [raw[at : at + LAYOUT] for at in range(scanned * CARD, until * CARD, CARD)]
        if _END in starts[scanned:]:
            end = starts.index(_END, scanned)
            behind = raw[(end + 1) * CARD : (end * CARD // BLOCK + 1) * BLOCK]
            return raw[: end * CARD], b"".join(starts[:end]), behind
        if until < len(raw) // CARD:
            continue
        if len(raw) >= MOST_BLOCKS * BLOCK:
            raise Refused("damaged", f"the header does not end within {MOST_BLOCKS} blocks of 2880 bytes")
        more = read(place + len(raw), min(max(len(raw), BLOCK), 64 * BLOCK))
        if not more:
            raise Refused("truncated", f"the file ends inside its header, after {size} bytes")
        raw += more


def _whole(structure: dict[str, Card], keyword: str, default: int | None = None) -> int:
    """A structural keyword that must be an integer. Raises Refused 'damaged'."""
    card = structure.get(keyword)
    if card is None and default is not None:
        return default
    if card is None or isinstance(card.value, bool) or not isinstance(card.value, int):
        told = "is missing" if card is None else f"is {card.text!r}, not a whole number"
        raise Refused("damaged", f"the header cannot be understood: {keyword} {told}")
    return card.value


def _axes(structure: dict[str, Card], letter: str) -> tuple[int, ...]:
    count = _whole(structure, f"{letter}NAXIS")
    if not 0 <= count <= 999:
        raise Refused("damaged", f"the header cannot be understood: {letter}NAXIS is {count}")
    axes = tuple([_whole(structure, f"{letter}NAXIS{axis}") for axis in range(1, count + 1)])
    if axes and min(axes) < 0:
        raise Refused("damaged", f"the header cannot be understood: an axis of {min(axes)} pixels")
    return axes


def _data_size(structure: dict[str, Card]) -> int:
    """Bytes of data: |BITPIX| / 8 x GCOUNT x (PCOUNT + the product of NAXISn) (section 4.4.1.1)."""
    axes = _axes(structure, "")
    width = abs(_whole(structure, "BITPIX"))
    if width not in (8, 16, 32, 64):
        raise Refused("damaged", f"the header cannot be understood: BITPIX is {structure['BITPIX'].text}")
    if not axes:
        return 0
    groups = structure.get("GROUPS")
    if axes[0] == 0 and groups is not None and groups.value is True:
        axes = axes[1:]
    return width // 8 * _whole(structure, "GCOUNT", 1) * (_whole(structure, "PCOUNT", 0) + prod(axes))
