"""The parts of a FITS file: header units of 2880-byte blocks, and where their data lie (FITS Standard 4.0, section 3).

Works on bytes already in memory or on an open handle of which only the headers are read.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from darklib.readers.answers import Refused
from darklib.readers.cards import CARD, Card, parse

BLOCK = 2880
MOST_BLOCKS = 400
"""Headers longer than this, 14,400 cards, are taken for damage: without a limit a file without END is read to its end."""

MOST_UNITS = 1000
AtMost = Callable[[int, int], bytes]
"""(offset, count) -> bytes: as many as there are, at most count."""

_STRUCTURE = frozenset(
    (
        b"SIMPLE  ", b"XTENSION", b"BITPIX  ", b"NAXIS   ", b"NAXIS1  ", b"NAXIS2  ", b"NAXIS3  ", b"NAXIS4  ",
        b"PCOUNT  ", b"GCOUNT  ", b"GROUPS  ", b"BSCALE  ", b"BZERO   ", b"BLANK   ", b"DATASUM ", b"CHECKSUM",
        b"ZIMAGE  ", b"ZBITPIX ", b"ZNAXIS  ", b"ZNAXIS1 ", b"ZNAXIS2 ", b"ZNAXIS3 ", b"ZCMPTYPE", b"ZQUANTIZ",
    )
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Unit:
    """One header and data unit. header_at, data_at: bytes from the start; data_size without padding.

    raw: the header's cards as they stand, END left out. structure: the cards that describe the data, by keyword.
    """

    number: int
    header_at: int
    data_at: int
    data_size: int
    raw: bytes
    structure: dict[str, Card] = field(repr=False)

    def whole(self, keyword: str, default: int | None = None) -> int:
        """A structural keyword that must be an integer. Raises Refused 'damaged'."""
        card = self.structure.get(keyword)
        if card is None and default is not None:
            return default
        if card is None or isinstance(card.value, bool) or not isinstance(card.value, int):
            told = "is missing" if card is None else f"is {card.text!r}, not a whole number"
            raise Refused("damaged", f"the header cannot be understood: {keyword} {told}")
        return card.value

    def real(self, keyword: str, default: float) -> float:
        """A structural keyword that must be a number. Raises Refused 'damaged'."""
        card = self.structure.get(keyword)
        if card is None or card.value is None:
            return default
        if isinstance(card.value, bool) or not isinstance(card.value, (int, float)):
            raise Refused("damaged", f"the header cannot be understood: {keyword} is {card.text!r}, not a number")
        return float(card.value)

    @property
    def compressed(self) -> bool:
        """Whether this is a tile-compressed image in a table (section 10)."""
        card = self.structure.get("ZIMAGE")
        return card is not None and card.value is True

    @property
    def axes(self) -> tuple[int, ...]:
        """Lengths of the image's axes, NAXIS1 (the row's length) first; of the image inside where it is compressed."""
        letter = "Z" if self.compressed else ""
        return tuple(self.whole(f"{letter}NAXIS{n}") for n in range(1, self.whole(f"{letter}NAXIS") + 1))

    @property
    def bitpix(self) -> int:
        """Bits of one stored number, negative for floating point; of the image inside where it is compressed."""
        return self.whole("ZBITPIX" if self.compressed else "BITPIX")

    @property
    def is_image(self) -> bool:
        """Whether the unit holds an image of at least two axes, none of them empty."""
        sort = self.structure.get("XTENSION")
        if sort is not None and sort.value != "IMAGE" and not self.compressed:
            return False
        return len(self.axes) >= 2 and all(length > 0 for length in self.axes)

    @property
    def padded_end(self) -> int:
        """Where the next unit begins."""
        return self.data_at + -(-self.data_size // BLOCK) * BLOCK


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
    raw = _header(read, place, size)
    structure: dict[str, Card] = {}
    for at in range(0, len(raw), CARD):
        if raw[at : at + 8] in _STRUCTURE:
            card = parse(raw[at : at + CARD])
            if card is not None:
                structure.setdefault(card.keyword, card)
    blocks = len(raw) // BLOCK + 1
    unit = Unit(number, place, place + blocks * BLOCK, 0, raw, structure)
    return Unit(number, place, unit.data_at, _data_size(unit), raw, structure)


def _header(read: AtMost, place: int, size: int) -> bytes:
    """The cards before END. Most headers fit into the first read of three blocks."""
    raw = read(place, 3 * BLOCK)
    scanned = 0
    while True:
        end = _end_card(raw, scanned)
        if end is not None:
            return raw[:end]
        scanned = len(raw) - len(raw) % CARD
        if len(raw) >= MOST_BLOCKS * BLOCK:
            raise Refused("damaged", f"the header does not end within {MOST_BLOCKS} blocks of 2880 bytes")
        more = read(place + len(raw), min(max(len(raw), BLOCK), 64 * BLOCK))
        if not more:
            raise Refused("truncated", f"the file ends inside its header, after {size} bytes")
        raw += more


def _end_card(raw: bytes, start: int) -> int | None:
    at = raw.find(b"END     ", start)
    while at >= 0:
        if at % CARD == 0 and not raw[at + 8 : at + CARD].strip(b" "):
            return at
        at = raw.find(b"END     ", at + 1)
    return None


def _data_size(unit: Unit) -> int:
    """Bytes of data: |BITPIX| / 8 x GCOUNT x (PCOUNT + the product of NAXISn) (section 4.4.1.1)."""
    naxis = unit.whole("NAXIS")
    if not 0 <= naxis <= 999:
        raise Refused("damaged", f"the header cannot be understood: NAXIS is {naxis}")
    if abs(unit.whole("BITPIX")) not in (8, 16, 32, 64):
        raise Refused("damaged", f"the header cannot be understood: BITPIX is {unit.whole('BITPIX')}")
    if naxis == 0:
        return 0
    elements = 1
    for axis in range(1, naxis + 1):
        length = unit.whole(f"NAXIS{axis}") if axis <= 4 else _far_axis(unit, axis)
        if length < 0:
            raise Refused("damaged", f"the header cannot be understood: NAXIS{axis} is {length}")
        groups = unit.structure.get("GROUPS")
        if axis == 1 and length == 0 and groups is not None and groups.value is True:
            continue
        elements *= length
    return abs(unit.whole("BITPIX")) // 8 * unit.whole("GCOUNT", 1) * (unit.whole("PCOUNT", 0) + elements)


def _far_axis(unit: Unit, axis: int) -> int:
    """Length of an axis beyond the fourth, which the walk does not keep."""
    name = f"NAXIS{axis}".ljust(8).encode()
    for at in range(0, len(unit.raw), CARD):
        if unit.raw[at : at + 8] == name:
            card = parse(unit.raw[at : at + CARD])
            if card is not None and isinstance(card.value, int):
                return card.value
    raise Refused("damaged", f"the header cannot be understood: NAXIS{axis} is missing")
