"""Header cards to told facts: finds each card's row, lets its rule understand it, and keeps what was not understood.

What one card tells depends on its bytes alone, and most cards of a night are the same: answers are kept for reuse.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache

from darklib.facts.codes import WARNINGS
from darklib.facts.frame import Fact, FrameWarning, Ignored
from darklib.readers.cards import CARD, keyword_of, parse
from darklib.readers.dialect_rules import Told
from darklib.readers.dialects import BY_KEYWORD
from darklib.readers.units_written import NotKnown, NotUnderstood

_WORTH = frozenset(keyword.encode().ljust(8) for keyword in BY_KEYWORD if len(keyword) <= 8)
"""First eight bytes of the cards that have a row."""


@dataclass(frozen=True, slots=True)
class Understood:
    """What one card says: facts by the place of their row (lower wins), or why it was not used."""

    keyword: str
    text: str
    place: int
    told: tuple[Told, ...] = ()
    facts: tuple[Fact, ...] = ()
    ignored: Ignored | None = None
    warnings: tuple[FrameWarning, ...] = ()


@dataclass(slots=True)
class Reading:
    """All cards of a header together. first: the winning told fact of each field and its keyword, by field."""

    first: dict[str, tuple[int, Told, str]]
    facts: list[Fact]
    ignored: list[Ignored]
    warnings: list[FrameWarning]

    def value(self, field: str) -> str | int | float | bool | None:
        """The winning value of a field, or None."""
        found = self.first.get(field)
        return found[1].value if found else None

    def number(self, field: str) -> float | None:
        """The same as a number."""
        value = self.value(field)
        return float(value) if isinstance(value, (int, float)) else None

    def text(self, field: str) -> str | None:
        """The same as text."""
        value = self.value(field)
        return None if value is None else str(value)


def read_cards(headers: Iterable[bytes]) -> Reading:
    """What the headers tell, each a run of 80-byte cards; a keyword of an earlier header hides it in later ones."""
    reading = Reading({}, [], [], [])
    hidden: set[str] = set()
    for header in headers:
        seen: dict[str, Understood] = {}
        for raw in _worth_reading(header):
            card = understood(raw)
            if card is None or card.keyword in hidden:
                continue
            before = seen.get(card.keyword)
            if before is not None:
                if before.text != card.text:
                    reading.ignored.append(Ignored(card.keyword, card.text, "the keyword is given twice; the first is used"))
                    reading.warnings.append(
                        warning("values_disagree", f"{card.keyword} is both {before.text} and {card.text}")
                    )
                continue
            seen[card.keyword] = card
            _take(card, reading)
        hidden.update(seen)
    return reading


def _take(card: Understood, reading: Reading) -> None:
    reading.facts.extend(card.facts)
    reading.warnings.extend(card.warnings)
    if card.ignored is not None:
        reading.ignored.append(card.ignored)
    for told in card.told:
        winner = reading.first.get(told.field)
        if winner is None or card.place < winner[0]:
            reading.first[told.field] = (card.place, told, card.keyword)


def _worth_reading(header: bytes) -> Iterator[bytes]:
    """The cards that have a row, each with its CONTINUE cards."""
    for at in range(0, len(header), CARD):
        start = header[at : at + 8]
        if start not in _WORTH:
            # Most cards end here. What breaks the standard's form may still hold a keyword.
            if start != b"HIERARCH" and (
                header[at + 8 : at + 9] == b"=" and start == start.upper() and b"=" not in start and start[:1] != b" "
            ):
                continue
            if start in (b"COMMENT ", b"HISTORY ", b"        ", b"CONTINUE"):
                continue
            if keyword_of(header[at : at + CARD]) not in BY_KEYWORD:
                continue
        end = at + CARD
        while header[end : end + 8] == b"CONTINUE":
            end += CARD
        yield header[at:end]


@lru_cache(maxsize=8192)
def understood(raw: bytes) -> Understood | None:
    """What one card says (80 bytes, or more with CONTINUE cards); None where it has no value or no row."""
    card = parse(raw)
    if card is None or card.keyword not in BY_KEYWORD:
        return None
    place, row = BY_KEYWORD[card.keyword]
    try:
        told = row.rule(card, row.field)
    except NotKnown as unknown:
        flags = ()
        if unknown.sentinel:
            flags = (warning("sentinel_dropped", f"{card.keyword} = {card.text}: {unknown}"),)
        return Understood(card.keyword, card.text, place, ignored=Ignored(card.keyword, card.text, str(unknown)), warnings=flags)
    except NotUnderstood as reason:
        return Understood(
            card.keyword,
            card.text,
            place,
            ignored=Ignored(card.keyword, card.text, str(reason)),
            warnings=(warning("value_not_understood", f"{card.keyword} = {card.text}: {reason}"),),
        )
    return Understood(
        card.keyword,
        card.text,
        place,
        told,
        tuple(Fact(one.field, one.value, one.unit, "header", card.keyword, card.text, one.note) for one in told),
        None,
        tuple(warning(one.warning, f"{card.keyword} = {card.text}: {one.note}") for one in told if one.warning),
    )


def warning(code: str, detail: str, **figures: float) -> FrameWarning:
    """A warning with its sentence and where it comes from."""
    return FrameWarning(code, f"{WARNINGS[code]}: {detail}", figures)
