"""Ranges and moments as people write them on the command line: `A:B`, `A:`, `:B`, one value; nights; clock shifts."""

import math
import re
from collections.abc import Callable
from datetime import date, datetime

from darklib.facts.errors import DarklibError, Exit
from darklib.facts.units import equal_exposures_s
from darklib.jobs.asked import Nights, Span

HOTTEST_C = 100.0
"""No sensor is used at this temperature; a number like this is of another unit, or of another thing."""

TEMPERATURE_AS_SHOWN_C = 0.05
"""One temperature finds what is shown as that temperature, with one decimal."""


def nights(text: str | None) -> Nights:
    """`2026-10-03`, `2026-10-01:2026-10-05`, `2026-10-01:`, `:2026-10-05` or `last`; None is every night."""
    if text is None:
        return Nights()
    if text.strip().casefold() == "last":
        return Nights(last=True)
    low, high = _ends(text)
    span = Nights(_night(low, text), _night(high, text))
    if span.low and span.high and span.low > span.high:
        raise _wrong(text, "ends before it begins", "Write the earlier night first.")
    return span


def exposures(text: str | None) -> Span:
    """Seconds, also as `1/60`. One value finds the setting of the shutter it stands for, not only the exact number."""
    if text is None:
        return Span()
    span = _span(text, _exposure)
    if ":" not in text and span.low is not None:
        return _same_setting(span.low)
    return span


def temperatures(text: str | None) -> Span:
    """Degrees C. One value finds what is shown as that temperature."""
    if text is None:
        return Span()
    span = _span(text, _temperature)
    if ":" not in text and span.low is not None:
        return Span(span.low - TEMPERATURE_AS_SHOWN_C, span.low + TEMPERATURE_AS_SHOWN_C)
    return span


def temperature(text: str | None) -> float | None:
    """One temperature of a sensor, degrees C."""
    if text is None:
        return None
    value = _temperature(text, text, one=True)
    if value >= HOTTEST_C:
        raise _wrong(text, "is no temperature of a sensor", "Write degrees C, as in -10.")
    return value


def exposure(text: str | None) -> float | None:
    """One exposure, seconds."""
    return None if text is None else _exposure(text, text, one=True)


_CLOCK = re.compile(r"(\d+):(\d{1,2})(?::(\d{1,2}(?:\.\d+)?))?|(\d+(?:\.\d+)?)")
_PARTS = re.compile(
    r"(?:(\d+(?:\.\d+)?)\s*d)?\s*(?:(\d+(?:\.\d+)?)\s*h)?\s*(?:(\d+(?:\.\d+)?)\s*m(?:in)?)?\s*(?:(\d+(?:\.\d+)?)\s*s)?"
)


def clock_shift(text: str | None) -> float | None:
    """Seconds to add to the times in files: `+1h02m`, `+1:30` and `-0:00:45` (hours first), `90s`, `2min`, `-1h`."""
    if text is None:
        return None
    bare = text.strip()
    sign = -1.0 if bare.startswith("-") else 1.0
    bare = bare[1:].strip() if bare[:1] in ("+", "-") else bare
    clock, parts = _CLOCK.fullmatch(bare), _PARTS.fullmatch(bare)
    if clock is not None:
        hours, minutes, seconds, figure = clock.groups()
        if figure is not None:
            return sign * float(figure)
        return sign * (int(hours) * 3600 + int(minutes) * 60 + float(seconds or 0))
    if parts is None or not any(parts.groups()):
        raise _wrong(text, "is no shift of a clock", "Write it as +1h02m, -0:00:45 (hours first), -90s or 2min.")
    return sign * sum(
        float(figure) * unit_s
        for figure, unit_s in zip(parts.groups(), (86400.0, 3600.0, 60.0, 1.0), strict=True)
        if figure
    )


def moment(text: str | None) -> str | None:
    """A date and time, checked; given on as it stands, since only the library knows its zone."""
    if not text:
        return text
    try:
        datetime.fromisoformat(text.strip())
    except ValueError:
        raise _wrong(text, "is no date and time", "Write it as 2026-10-03T21:30:00, with Z for UTC.") from None
    return text.strip()


def share(text: str | None) -> float | None:
    """A share of a whole: `0.1` or `10%`."""
    if text is None:
        return None
    percent = text.strip().endswith("%")
    value = _number(text.strip().removesuffix("%"), text, one=True)
    value = value / 100 if percent else value
    if not 0 < value <= 1:
        raise _wrong(text, "is no share above 0 and up to 1", "Write it as 0.1 or 10%.")
    return value


def _ends(text: str) -> tuple[str | None, str | None]:
    parts = text.split(":")
    if len(parts) > 2 or not text.strip(": "):
        raise _wrong(text, "is no range", "Write A:B, A:, :B, or one value.")
    if len(parts) == 1:
        return parts[0].strip(), parts[0].strip()
    return parts[0].strip() or None, parts[1].strip() or None


def _night(text: str | None, whole: str) -> str | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise _wrong(whole, "is no night", "Write a date as 2026-10-03, a range A:B, or `last`.") from None


def _span(text: str, parse: Callable[[str, str], float]) -> Span:
    low, high = _ends(text)
    span = Span(None if low is None else parse(low, text), None if high is None else parse(high, text))
    if span.low is not None and span.high is not None and span.low > span.high:
        raise _wrong(text, "ends below where it begins", "Write the smaller value first.")
    return span


def _exposure(text: str, whole: str, *, one: bool = False) -> float:
    bare = re.sub(r"\s*s$", "", text.strip())
    above, slash, below = bare.partition("/")
    value = _number(above, whole, one=one)
    if slash:
        divisor = _number(below, whole, one=one)
        if divisor == 0:
            raise _wrong(whole, "divides by zero", "Write exposures as 300, 0.5 or 1/60.")
        value /= divisor
    if value < 0:
        raise _wrong(whole, "is below zero", "Write exposures as 300, 0.5 or 1/60.")
    return value


def _temperature(text: str, whole: str, *, one: bool = False) -> float:
    value = _number(re.sub(r"\s*C$", "", text.strip(), flags=re.IGNORECASE), whole, one=one)
    if value < -273.15:
        raise _wrong(whole, "is below absolute zero", "Write degrees C, as in -10.")
    return value


def _number(text: str, whole: str, *, one: bool = False) -> float:
    """one: where a single value is wanted, the remedy is not to write a range."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        if one:
            raise _wrong(whole, "is no number", "Write one number.")
        raise _wrong(whole, "is no number or range of numbers", "Write A:B, A:, :B, or one value.")
    return value


def _same_setting(value_s: float) -> Span:
    """Exposures that are one setting of the shutter with this one: `facts.units.same_series_exposure` as a range."""
    if value_s >= 20.0:
        return Span(*equal_exposures_s(value_s))
    return Span(value_s - 0.02 * value_s, value_s + 0.02 * value_s)


def _wrong(text: str, what: str, remedy: str) -> DarklibError:
    return DarklibError("usage", f"{text!r} {what}.", remedy=remedy, status=Exit.USAGE)
