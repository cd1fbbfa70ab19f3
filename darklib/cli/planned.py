"""What people write about lights to come and the time at hand: `300s 8:12C gain 100 4h`, `3h`, `150min`, `2:30`."""

import re

from darklib.cli import ranges
from darklib.facts.errors import DarklibError, Exit
from darklib.planning.expected import Expected, checked

EXAMPLE = "Write it as in --expect '300s 8:12C iso 800 4h'."

_EXPOSURE = re.compile(r"(\d+(?:\.\d+)?|\d+/\d+)\s*s", re.IGNORECASE)
_HOURS = re.compile(r"(\d+(?:\.\d+)?)\s*h", re.IGNORECASE)
_TEMPERATURE = re.compile(r"(-?\d+(?:\.\d+)?)(?::(-?\d+(?:\.\d+)?))?\s*C", re.IGNORECASE)
_NAMED = re.compile(r"\b(gain|iso)\s*=?\s*(-?\d+(?:\.\d+)?)", re.IGNORECASE)
_TIME = re.compile(r"(\d+):(\d{2})|(\d+(?:\.\d+)?)\s*(h|min)", re.IGNORECASE)


def expected(text: str) -> Expected:
    """Lights to come: an exposure, and where said a temperature or range, gain or ISO and hours, in any order.

    Raises DarklibError (usage) with one sentence for anything else.
    """
    rest = text
    named = {name.casefold(): float(value) for name, value in _NAMED.findall(rest)}
    if len(named) != len(_NAMED.findall(rest)):
        raise _wrong(text, "says the gain or ISO twice")
    rest = _NAMED.sub(" ", rest)
    found: dict[str, re.Match[str]] = {}
    for word in rest.replace(",", " ").split():
        for what, pattern in (("exposure", _EXPOSURE), ("hours", _HOURS), ("temperature", _TEMPERATURE)):
            match = pattern.fullmatch(word)
            if match is None:
                continue
            if what in found:
                again = {"exposure": "two exposures", "hours": "the hours twice", "temperature": "two temperatures"}
                raise _wrong(text, f"says {again[what]}", "Give --expect once for each sort of light.")
            found[what] = match
            break
        else:
            raise _wrong(text, f"holds {word!r}, which is no exposure, temperature, gain, ISO or hours")
    if "exposure" not in found:
        raise _wrong(text, "says no exposure")
    low_c = high_c = None
    if "temperature" in found:
        low, high = found["temperature"].groups()
        low_c, high_c = float(low), float(high if high is not None else low)
    iso = named.get("iso")
    exposure_s = ranges.exposure(found["exposure"].group(1))
    return checked(
        Expected(
            exposure_s or 0.0,
            low_c,
            high_c,
            named.get("gain"),
            None if iso is None else int(iso),
            float(found["hours"].group(1)) if "hours" in found else None,
        )
    )


def minutes_at_hand(text: str | None) -> float | None:
    """A length of time in minutes: `3h`, `150min`, `2:30` (hours and minutes)."""
    if text is None:
        return None
    match = _TIME.fullmatch(text.strip())
    if match is None:
        raise _wrong(text, "is no length of an evening", "Write it as 3h, 150min or 2:30.")
    hours, minutes, figure, unit = match.groups()
    if figure is None:
        value = int(hours) * 60.0 + int(minutes)
    else:
        value = float(figure) * (60.0 if unit.casefold() == "h" else 1.0)
    if not 0 < value <= 7 * 24 * 60:
        raise _wrong(text, "is no evening", "Write a time above nothing and up to a week, as in 3h.")
    return value


def humidity(percent: float | None) -> float | None:
    """A relative humidity in percent."""
    if percent is not None and not 0 < percent <= 100:
        raise _wrong(f"{percent:g}", "is no relative humidity", "Write percent, above 0 and up to 100.")
    return percent


def room(temperature_c: float | None) -> float | None:
    """A room's temperature, degrees C, where the formula of the dew point holds."""
    if temperature_c is not None and not -40 <= temperature_c <= 50:
        raise _wrong(f"{temperature_c:g}", "is no temperature of a room", "Write degrees C between -40 and 50.")
    return temperature_c


def _wrong(text: str, what: str, remedy: str = EXAMPLE) -> DarklibError:
    return DarklibError("usage", f"{text!r} {what}.", remedy=remedy, status=Exit.USAGE)
