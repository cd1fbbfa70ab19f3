"""Numbers as headers write them: in quotes, with a decimal comma, with the unit behind or in the comment."""

import math
import re
from dataclasses import dataclass

from darklib.readers.cards import Card


class NotUnderstood(Exception):
    """A value that cannot be understood; says why."""


class NotKnown(Exception):
    """A value that says that it is not known: undefined, blank, or a number that stands for it (`sentinel`)."""

    def __init__(self, why: str, *, sentinel: bool = False) -> None:
        super().__init__(why)
        self.sentinel = sentinel


@dataclass(frozen=True, slots=True)
class Written:
    """A number as written: value, its unit where one stands with it or in the comment, and what was odd about it."""

    value: float
    unit: str
    odd: str = ""


_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[EeDd][+-]?\d+)?"
_WITH_UNIT = re.compile(rf"({_NUMBER})\s*([A-Za-zµ°%/^*()\-]*)$")
_COMMA = re.compile(r"[+-]?\d+,\d+$")
UNKNOWN_TEXTS = frozenset(
    ("", "n/a", "na", "nan", "none", "null", "unknown", "undefined", "undef", "not available", "?", "--", "-")
)

UNITS: dict[str, str] = {
    "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s",
    "ms": "ms", "msec": "ms", "msecs": "ms", "millisec": "ms", "millisecond": "ms", "milliseconds": "ms",
    "us": "us", "usec": "us", "µs": "us", "microsec": "us", "microsecond": "us", "microseconds": "us",
    "min": "min", "mins": "min", "minute": "min", "minutes": "min", "h": "h", "hour": "h", "hours": "h",
    "c": "degC", "degc": "degC", "deg c": "degC", "deg_c": "degC", "celsius": "degC", "celcius": "degC",
    "degrees c": "degC", "degree c": "degC", "degrees celsius": "degC", "degree celsius": "degC", "°c": "degC",
    "centigrade": "degC", "degrees centigrade": "degC", "deg. c": "degC", "deg c.": "degC",
    "k": "K", "kelvin": "K", "kelvins": "K", "degk": "K", "deg k": "K", "degrees k": "K", "degrees kelvin": "K",
    "f": "degF", "degf": "degF", "deg f": "degF", "fahrenheit": "degF", "degrees fahrenheit": "degF",
    "mm": "mm", "millimeter": "mm", "millimeters": "mm", "millimetres": "mm", "millimetre": "mm",
    "cm": "cm", "m": "m", "meter": "m", "meters": "m", "metre": "m", "metres": "m",
    "um": "um", "µm": "um", "micron": "um", "microns": "um", "micrometer": "um", "micrometers": "um",
    "micrometre": "um", "micrometres": "um",
    "in": "in", "inch": "in", "inches": "in",
    "e-/adu": "e/DN", "e/adu": "e/DN", "e-/dn": "e/DN", "e/dn": "e/DN", "electron/adu": "e/DN", "electrons/adu": "e/DN",
    "electrons/dn": "e/DN", "electron/dn": "e/DN", "e-/count": "e/DN", "electrons per adu": "e/DN",
    "electrons per a/d unit": "e/DN", "e- per adu": "e/DN", "electrons/data number": "e/DN", "e per adu": "e/DN",
    "adu/e-": "DN/e", "adu/e": "DN/e", "dn/e-": "DN/e", "db": "dB", "0.1 db": "0.1 dB", "0.1db": "0.1 dB",
    "deg": "deg", "degree": "deg", "degrees": "deg", "rad": "rad", "radian": "rad", "radians": "rad",
}  # fmt: skip
"""Spellings of units, in small letters, to the unit. FITS Standard 4.0, section 4.3, and habits seen in files."""

_BRACKETS = re.compile(r"\[([^\]]{1,24})\]|\(([^)]{1,24})\)")
_WORDS = sorted((word for word in UNITS if len(word) >= 4), key=len, reverse=True)
_IN_WORDS = re.compile(r"(?<![\w/])(" + "|".join(re.escape(word) for word in _WORDS) + r")(?![\w/])")
_LONE = re.compile(r"(?:^|\bin )(ms|us|sec|s|mm|um|k|c|degc|min)\.?$")


def unit_in(comment: str) -> str:
    """The unit a comment names: in brackets, else written out, else '' ."""
    plain = comment.casefold()
    for square, round_ in _BRACKETS.findall(plain):
        known = UNITS.get((square or round_).strip())
        if known:
            return known
    word = _IN_WORDS.search(plain)
    if word:
        return UNITS[word.group(1)]
    lone = _LONE.search(plain.strip())
    return UNITS[lone.group(1)] if lone else ""


def number(card: Card) -> Written:
    """The finite number of a card. Raises NotKnown or NotUnderstood."""
    value, odd = card.value, card.odd
    unit = unit_in(card.comment) if card.comment else ""
    if value is None:
        raise NotKnown("no value")
    if isinstance(value, bool):
        raise NotUnderstood("true or false where a number belongs")
    if isinstance(value, (int, float)):
        if not math.isfinite(value):
            raise NotUnderstood("not a finite number")
        return Written(float(value), unit, odd)
    text = value.strip()
    if card.fault and not _COMMA.match(text):
        raise NotUnderstood(card.fault)
    if text.casefold() in UNKNOWN_TEXTS:
        raise NotKnown("says that it is not known")
    if card.quoted:
        odd = _joined(odd, "a number in quotes")
    if _COMMA.match(text):
        odd, text = _joined(odd, "a decimal comma"), text.replace(",", ".")
    match = _WITH_UNIT.match(text)
    if not match:
        raise NotUnderstood("not a number")
    if match.group(2):
        behind = UNITS.get(match.group(2).casefold())
        if behind is None:
            raise NotUnderstood("not a number")
        unit = behind
    found = float(match.group(1).replace("D", "E").replace("d", "e"))
    if not math.isfinite(found):
        raise NotUnderstood("not a finite number")
    return Written(found, unit, odd)


def _joined(odd: str, more: str) -> str:
    return f"{odd}, {more}" if odd else more
