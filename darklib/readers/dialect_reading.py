"""Header cards to told facts: finds each card's row, lets its rule understand it, and keeps what was not understood.

What one card tells depends on its bytes alone, and most cards of a night are the same: answers are kept for reuse.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from darklib.facts.codes import WARNINGS
from darklib.facts.frame import Fact, FrameWarning, Ignored
from darklib.readers.cards import CARD, keyword_of, parse
from darklib.readers.dialect_rules import Told
from darklib.readers.dialects import BY_KEYWORD
from darklib.readers.fits_blocks import LAYOUT
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
    """All cards of a header together. values, where: the winning value of each field and its keyword."""

    values: dict[str, Any]
    where: dict[str, str]
    facts: list[Fact]
    ignored: list[Ignored]
    warnings: list[FrameWarning]


def read_cards(headers: Iterable[tuple[bytes, bytes]]) -> Reading:
    """What the headers tell, each its cards and its layout; a keyword of an earlier header hides it in later ones."""
    values: dict[str, Any] = {}
    where: dict[str, str] = {}
    places: dict[str, int] = {}
    reading = Reading(values, where, [], [], [])
    hidden: frozenset[str] = frozenset()
    for header, layout in headers:
        seen: dict[str, str] = {}
        for start, end in _worth_reading(layout):
            card = understood(header[start:end])
            if card is None or card.keyword in hidden:
                continue
            keyword = card.keyword
            if keyword in seen:
                _twice(reading, card, seen[keyword])
                continue
            seen[keyword] = card.text
            reading.facts += card.facts
            if card.ignored is not None:
                reading.ignored.append(card.ignored)
            if card.warnings:
                reading.warnings += card.warnings
            place = card.place
            for told in card.told:
                name = told.field
                if name not in places or place < places[name]:
                    places[name], values[name], where[name] = place, told.value, keyword
        hidden |= seen.keys()
    return reading


def _twice(reading: Reading, card: Understood, before: str) -> None:
    if before == card.text:
        return
    reading.ignored.append(Ignored(card.keyword, card.text, "the keyword is given twice; the first is used"))
    reading.warnings.append(warning("values_disagree", f"{card.keyword} is both {before} and {card.text}"))


@lru_cache(maxsize=512)
def _worth_reading(layout: bytes) -> tuple[tuple[int, int], ...]:
    """From where to where the cards stand that have a row or may have one, CONTINUE cards with their own."""
    starts = [layout[at : at + LAYOUT] for at in range(0, len(layout), LAYOUT)]
    found = []
    for number, start in enumerate(starts):
        name = start[:8]
        if not (name in _WORTH or name == b"HIERARCH" or keyword_of(start) in BY_KEYWORD):
            continue
        end = number + 1
        while end < len(starts) and starts[end][:8] == b"CONTINUE":
            end += 1
        found.append((number * CARD, end * CARD))
    return tuple(found)


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
        flags: tuple[FrameWarning, ...] = ()
        if unknown.sentinel:
            flags = (warning("sentinel_dropped", f"{card.keyword} = {card.text}: {unknown}"),)
        ignored = Ignored(card.keyword, card.text, str(unknown))
        return Understood(card.keyword, card.text, place, ignored=ignored, warnings=flags)
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
