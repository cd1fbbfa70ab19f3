"""How the value of one card is understood: one small function a sort of value, used by the rows of `dialects`.

A rule takes a card and gives what it tells, mostly one thing; it raises NotKnown where the card says that the value is
not known and NotUnderstood where it says something that cannot be read. Nothing here looks at a second card.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

from darklib.facts.units import KELVIN_AT_ZERO_C
from darklib.readers.cards import Card
from darklib.readers.dialect_words import KIND_WORDS, MASTER, plain_words
from darklib.readers.units_written import UNKNOWN_TEXTS, NotKnown, NotUnderstood, Written, number

Plain = str | int | float | bool


@dataclass(frozen=True, slots=True)
class Told:
    """One thing a card tells: a field, its value and unit. note: how it was understood where not plainly.

    warning: a code of `facts/codes.WARNINGS` that goes with the note.
    """

    field: str
    value: Plain
    unit: str = ""
    note: str = ""
    warning: str = ""


Rule = Callable[[Card, str], tuple[Told, ...]]
"""(card, the row's field) -> what it tells."""

SECONDS = {"s": 1.0, "": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0}
LONGEST_S = 7 * 86400.0
MILLIMETRES = {"mm": 1.0, "": 1.0, "m": 1000.0, "cm": 10.0, "in": 25.4, "um": 1e-3}
MICROMETRES = {"um": 1.0, "": 1.0, "mm": 1000.0, "m": 1e6}

TEMPERATURE_SENTINELS = frozenset(
    (999.0, -999.0, 999.9, -999.9, 9999.0, -9999.0, 99.9, -99.9, -128.0, -273.15, -273.0, -273.2)
)
"""Numbers that stand for 'not known' in temperatures (seen in files; no single source)."""

COLDEST_C, HOTTEST_C = -200.0, 100.0
KELVIN_FROM = 100.0
"""Above this a sensor temperature without a unit can only be kelvin: no camera works at 100 degrees C."""


def _one(field: str, value: Plain, unit: str, odd: str, note: str = "", warning: str = "") -> tuple[Told, ...]:
    if odd and note:
        return (Told(field, value, unit, f"{odd}; {note}", warning or "value_odd"),)
    if odd:
        return (Told(field, value, unit, odd, warning or "value_odd"),)
    return (Told(field, value, unit, note, warning),)


def _scaled(written: Written, scale: dict[str, float], what: str) -> tuple[float, str]:
    if written.unit not in scale:
        raise NotUnderstood(f"{written.unit} is no unit of {what}")
    factor = scale[written.unit]
    return written.value * factor, "" if factor == 1.0 else f"given in {written.unit}"


def exposure(card: Card, field: str, *, assumed: str = "s") -> tuple[Told, ...]:
    """Seconds; other units where the comment names them (FITS Standard 4.0, section 4.3.2: units in brackets)."""
    written = number(card)
    if not written.unit and assumed != "s":
        written = Written(written.value, assumed, written.odd)
    seconds, note = _scaled(written, SECONDS, "time")
    if written.value in (-1.0, -999.0, 999999.0):
        raise NotKnown("stands for 'not known'", sentinel=True)
    if not 0.0 <= seconds <= LONGEST_S:
        raise NotUnderstood("no possible exposure")
    return _one(field, round(seconds, 9), "s", written.odd, note)


def temperature(card: Card, field: str) -> tuple[Told, ...]:
    """Degrees C, of kelvin or Fahrenheit where told or, above 100, where it can only be kelvin."""
    written = number(card)
    value, unit = written.value, written.unit
    if unit not in ("", "degC", "K", "degF", "deg", "e/DN"):
        raise NotUnderstood(f"{unit} is no unit of temperature")
    if value in TEMPERATURE_SENTINELS or (unit == "K" and value <= 0):
        raise NotKnown("stands for 'not known'", sentinel=True)
    note = warning = ""
    if unit == "K":
        value, note = value - KELVIN_AT_ZERO_C, "given in kelvin"
    elif unit == "degF":
        value, note = (value - 32.0) / 1.8, "given in degrees Fahrenheit"
    elif value > KELVIN_FROM:
        value, note = value - KELVIN_AT_ZERO_C, "taken as kelvin"
        warning = "temperature_taken_as_kelvin"
    if not COLDEST_C <= value <= HOTTEST_C:
        raise NotUnderstood("no possible temperature")
    return _one(field, round(value, 4), "degC", written.odd, note, warning)


def gain(card: Card, field: str) -> tuple[Told, ...]:
    """A setting without a unit, or electrons per DN where the unit says so or where it is small and has a fraction.

    Observatories write electrons per DN under the same keyword; no camera's setting is such a number.
    """
    written = number(card)
    if written.unit in ("e/DN", "DN/e"):
        return electrons_per_dn(card, "e_per_dn")
    if written.unit not in ("", "dB", "0.1 dB"):
        raise NotUnderstood(f"{written.unit} is no unit of gain")
    if written.value < 0:
        if written.value in (-1.0, -999.0):
            raise NotKnown("stands for 'not known'", sentinel=True)
        if written.unit == "":
            raise NotUnderstood("a negative gain")
    if not written.unit and written.value != int(written.value) and written.value < 20.0:
        return _one("e_per_dn", written.value, "e/DN", written.odd, "taken as electrons per DN", "value_odd")
    return _one(field, written.value, written.unit, written.odd)


def electrons_per_dn(card: Card, field: str) -> tuple[Told, ...]:
    """Electrons per DN; its inverse where the unit says so."""
    written = number(card)
    if written.value in (0.0, -1.0):
        raise NotKnown("stands for 'not known'", sentinel=True)
    if written.value < 0.0 or written.value > 10000.0:
        raise NotUnderstood("no possible number of electrons")
    if written.unit == "DN/e":
        return _one(field, 1.0 / written.value, "e/DN", written.odd, "given in DN per electron")
    if written.unit not in ("", "e/DN"):
        raise NotUnderstood(f"{written.unit} is no unit of electrons per DN")
    return _one(field, written.value, "e/DN", written.odd)


def iso(card: Card, field: str) -> tuple[Told, ...]:
    """A whole ISO speed; 0 is unknown."""
    written = number(card)
    if written.value == 0.0:
        raise NotKnown("stands for 'not known'", sentinel=True)
    if written.value != int(written.value) or not 1 <= written.value <= 10_000_000:
        raise NotUnderstood("no possible ISO")
    return _one(field, int(written.value), "", written.odd)


def setting(card: Card, field: str) -> tuple[Told, ...]:
    """A number of DN or a setting, zero or more; -1 is unknown."""
    written = number(card)
    if written.value in (-1.0, -999.0):
        raise NotKnown("stands for 'not known'", sentinel=True)
    if written.value < 0:
        raise NotUnderstood("a negative setting")
    return _one(field, written.value, "DN", written.odd)


def any_number(card: Card, field: str, *, unit: str = "") -> tuple[Told, ...]:
    """Any finite number."""
    written = number(card)
    return _one(field, written.value, unit or written.unit, written.odd)


def positive_length(card: Card, field: str, *, scale: dict[str, float], unit: str, most: float) -> tuple[Told, ...]:
    """A length greater than 0; 0 is unknown."""
    written = number(card)
    if written.value in (0.0, -1.0, -999.0):
        raise NotKnown("stands for 'not known'", sentinel=True)
    length, note = _scaled(written, scale, "length")
    if not 0.0 < length <= most:
        raise NotUnderstood("no possible length")
    return _one(field, round(length, 6), unit, written.odd, note)


millimetres: Rule = partial(positive_length, scale=MILLIMETRES, unit="mm", most=100_000.0)
micrometres: Rule = partial(positive_length, scale=MICROMETRES, unit="um", most=1000.0)


def count(card: Card, field: str) -> tuple[Told, ...]:
    """A whole number from 1."""
    written = number(card)
    if written.value != int(written.value) or not 1 <= written.value <= 100_000:
        raise NotUnderstood("no whole number from 1")
    return _one(field, int(written.value), "", written.odd)


def pixel(card: Card, field: str) -> tuple[Told, ...]:
    """A whole number of pixels from 0."""
    written = number(card)
    if written.value != int(written.value) or not 0 <= written.value <= 1_000_000:
        raise NotUnderstood("no pixel's number")
    return _one(field, int(written.value), "px", written.odd)


def kind_if_any(card: Card, field: str) -> tuple[Told, ...]:
    """As `kind`, for a keyword that others use for something else: then it is passed over without a flag."""
    try:
        return kind(card, field)
    except NotUnderstood as error:
        raise NotKnown("says nothing of the kind of frame") from error


_PAIR = re.compile(r"(\d{1,2})\s*[xX*, ]\s*(\d{1,2})$")
_LONE = re.compile(r"(\d{1,2})$")


def binning_pair(card: Card, field: str) -> tuple[Told, ...]:
    """Both binnings in one text: `2 2`, `2x2`, or one number for both."""
    if card.fault:
        raise NotUnderstood(card.fault)
    text = _text(card)
    if isinstance(card.value, float) and card.value == int(card.value):
        text = str(int(card.value))
    pair = _PAIR.match(text)
    lone = _LONE.match(text)
    x, y = (pair.group(1), pair.group(2)) if pair else (text, text) if lone else ("0", "0")
    if not (1 <= int(x) <= 64 and 1 <= int(y) <= 64):
        raise NotUnderstood("no binning")
    return (Told("binning_x", int(x), note=card.odd), Told("binning_y", int(y), note=card.odd))


_SECTION = re.compile(r"\[?\s*(\d+)\s*:\s*(\d+)\s*,\s*(\d+)\s*:\s*(\d+)\s*\]?$")


def section(card: Card, field: str) -> tuple[Told, ...]:
    """`[x1:x2,y1:y2]`, counted from 1, both ends included, x first."""
    match = _SECTION.match(_text(card))
    if not match:
        raise NotUnderstood("no section [x1:x2,y1:y2]")
    return (Told(field, "[{}:{},{}:{}]".format(*match.groups())),)


def _text(card: Card) -> str:
    if card.fault:
        raise NotUnderstood(card.fault)
    if card.value is None:
        raise NotKnown("no value")
    if isinstance(card.value, bool):
        raise NotUnderstood("true or false where text belongs")
    text = card.text if not isinstance(card.value, str) else " ".join(card.value.split())
    if text.casefold() in UNKNOWN_TEXTS - {"none"}:
        raise NotKnown("says that it is not known")
    return text


def text(card: Card, field: str) -> tuple[Told, ...]:
    """Text; a number is kept as it is written."""
    told = _text(card)
    if told.casefold() == "none":
        raise NotKnown("says that it is not known")
    return _one(field, told, "", card.odd)


def filter_name(card: Card, field: str) -> tuple[Told, ...]:
    """A filter's name; a bare number is the wheel's place, kept as such and flagged. 'None' is a name: no filter."""
    told = _text(card)
    if not card.quoted:
        return _one(field, told, "", card.odd, "a number, not a name", "value_odd")
    return _one(field, told, "", card.odd)


def wheel_place(card: Card, field: str) -> tuple[Told, ...]:
    """A place in a filter wheel, from 0; -1 is unknown or moving."""
    written = number(card)
    if written.value == -1.0:
        raise NotKnown("stands for 'not known'", sentinel=True)
    if written.value != int(written.value) or not 0 <= written.value <= 999:
        raise NotUnderstood("no place in a wheel")
    return _one(field, int(written.value), "", written.odd)


def focal_ratio(card: Card, field: str) -> tuple[Told, ...]:
    """Focal length over aperture, also as `f/6`; 0 is unknown."""
    text = card.value.strip() if isinstance(card.value, str) else ""
    if not card.fault and text.casefold().startswith("f/"):
        card = replace(card, value=text[2:].strip())
    written = number(card)
    if written.value == 0.0:
        raise NotKnown("stands for 'not known'", sentinel=True)
    if written.unit or not 0.3 <= written.value <= 200.0:
        raise NotUnderstood("no possible focal ratio")
    return _one(field, round(written.value, 4), "", "" if text else written.odd)


def kind(card: Card, field: str) -> tuple[Told, ...]:
    """light, dark, bias or flat from the header's own words, and whether it is a combination."""
    words = plain_words(_text(card))
    found = KIND_WORDS.get(words)
    if found is None:
        raise NotUnderstood("no known kind of frame")
    told = (Told(field, found.value, "", card.odd, "value_odd" if card.odd else ""),)
    return (*told, Told("combined", True)) if MASTER.search(words) else told


def target(card: Card, field: str) -> tuple[Told, ...]:
    """The target's name; where it is only a word for a kind of calibration frame, it is that and no target."""
    told = _text(card)
    words = plain_words(told)
    found = KIND_WORDS.get(words)
    if found is not None and found.value != "light":
        return (Told("kind_by_object", found.value),)
    if told.casefold() in ("none", "light", "lights", "light frame", "object", "science", "no target", "target"):
        raise NotKnown("no name of a target")
    return _one(field, told, "", card.odd)


_ANGLE = re.compile(r"([+-]?)\s*(\d+)[\s:d°]+(\d+)(?:[\s:m']+(\d+(?:\.\d*)?))?[\s\"s]*([NSEWnsew]?)$")


def angle(card: Card, field: str, *, most: float) -> tuple[Told, ...]:
    """Degrees, also written in degrees, minutes and seconds; north and east are positive."""
    turned = ""
    match = _ANGLE.match(card.value.strip()) if isinstance(card.value, str) else None
    if match:
        sign, degrees, minutes, seconds, side = match.groups()
        value = int(degrees) + int(minutes) / 60 + float(seconds or 0) / 3600
        if sign == "-" or side.casefold() in ("s", "w"):
            value = -value
        odd = card.odd
    else:
        written = number(card)
        value, odd = written.value, written.odd
    if "west" in card.comment.casefold() and "east" not in card.comment.casefold() and field == "longitude_deg":
        value, turned = -value, "counted to the west"
    if most == 180.0 and 180.0 < value <= 360.0:
        value -= 360.0
    if not -most <= value <= most:
        raise NotUnderstood("no possible angle")
    return _one(field, round(value, 7), "deg", odd, turned)


latitude: Rule = partial(angle, most=90.0)
longitude: Rule = partial(angle, most=180.0)
turning: Rule = partial(angle, most=360.0)

_SIDES = {"east": "east", "e": "east", "west": "west", "w": "west"}


def pier_side(card: Card, field: str) -> tuple[Told, ...]:
    """east or west."""
    side = _SIDES.get(_text(card).casefold().removeprefix("pier").strip())
    if side is None:
        raise NotUnderstood("neither east nor west")
    return _one(field, side, "", card.odd)


def pattern(card: Card, field: str) -> tuple[Told, ...]:
    """Letters of the colour mosaic row by row: 4 for 2 x 2 or 36 for 6 x 6."""
    letters = re.sub(r"[\s,;/]+", "", _text(card)).upper()
    if letters in ("NONE", "MONO", "MONOCHROME", "FALSE", "GRAY", "GREY"):
        raise NotKnown("no colour mosaic")
    if len(letters) not in (4, 36) or not set(letters) <= set("RGBCMYEW"):
        raise NotUnderstood("no pattern of 2 x 2 or 6 x 6 colours")
    return _one(field, letters, "", card.odd)


def row_order(card: Card, field: str) -> tuple[Told, ...]:
    """top-down or bottom-up."""
    order = _text(card).casefold().replace("_", "-").replace(" ", "-")
    if order not in ("top-down", "bottom-up"):
        raise NotUnderstood("neither TOP-DOWN nor BOTTOM-UP")
    return _one(field, order, "", card.odd)


def steps_done(card: Card, field: str) -> tuple[Told, ...]:
    """Letters of the corrections already made: B bias, D dark, F flat."""
    letters = _text(card).upper()
    if not set(letters) <= set("BDFMT"):
        raise NotUnderstood("unknown letters")
    return _one(field, letters, "", card.odd)


def yes_or_no(card: Card, field: str) -> tuple[Told, ...]:
    """True or false, also as words."""
    if isinstance(card.value, bool):
        return (Told(field, card.value),)
    word = _text(card).casefold()
    if word in ("t", "true", "yes", "on", "1"):
        return _one(field, True, "", "")
    if word in ("f", "false", "no", "off", "0"):
        return _one(field, False, "", "")
    raise NotUnderstood("neither true nor false")
