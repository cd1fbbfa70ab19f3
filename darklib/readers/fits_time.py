"""When an exposure began, from the several ways in which headers say it (FITS Standard 4.0, sections 4.4.2.1 and 9)."""

import re
from bisect import bisect_right
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from typing import Any

from darklib.readers.cards import Card
from darklib.readers.dialect_rules import Told
from darklib.readers.units_written import NotKnown, NotUnderstood, number

_ISO = re.compile(
    r"(\d{4})[-/:.](\d{1,2})[-/:.](\d{1,2})"
    r"(?:[T ]\s*(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d+))?)?\s*(Z|UTC?|[+-]\d{2}:?\d{2})?)?$"
)
_PLAIN = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?$")
_LOCAL = re.compile(r"\blocal\b|\blt\b", re.IGNORECASE)
_NOT_START = re.compile(r"\bend\b|\bmid", re.IGNORECASE)
_START = re.compile(r"start|begin", re.IGNORECASE)
_OLD = re.compile(r"(\d{2})/(\d{2})/(\d{2})$")
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d+))?)?\s*(?:Z|UTC?)?$")
_MJD_EPOCH = datetime(1858, 11, 17, tzinfo=UTC)
EARLIEST, LATEST = 1900, 2200
CLOSE_S = 120.0
"""A Julian date beside a date lies this near: it is of the start, the middle or the moment of writing."""

LEAST_TOLD_S = 4.0
"""In shorter exposures times of whole seconds do not tell the start from the end."""

SCALES = {
    "UTC": "UTC", "UT": "UTC", "UT1": "UTC", "GMT": "UTC", "TT": "TT", "TDT": "TT", "ET": "TT", "TDB": "TT",
    "TCB": "TT", "TCG": "TT", "TAI": "TAI", "IAT": "TAI", "GPS": "GPS", "LOCAL": "LOCAL", "LT": "LOCAL",
}  # fmt: skip
"""Time scales of section 9.2.1 and a few older names; UT1 is within 0.9 s of UTC, TDB within 2 ms of TT."""

_TAI_AHEAD_FROM: tuple[tuple[date, int], ...] = tuple(
    (date(year, month, 1), 10 + step)
    for step, (year, month) in enumerate(
        (
            (1972, 1), (1972, 7), (1973, 1), (1974, 1), (1975, 1), (1976, 1), (1977, 1), (1978, 1), (1979, 1),
            (1980, 1), (1981, 7), (1982, 7), (1983, 7), (1985, 7), (1988, 1), (1990, 1), (1991, 1), (1992, 7),
            (1993, 7), (1994, 7), (1996, 1), (1997, 7), (1999, 1), (2006, 1), (2009, 1), (2012, 7), (2015, 7),
            (2017, 1),
        )
    )
)  # fmt: skip
"""From which day on TAI is how many seconds ahead of UTC (IERS Bulletin C)."""


def tai_ahead_s(day: date) -> int:
    """Seconds by which TAI is ahead of UTC on a day; 10 before 1972."""
    place = bisect_right([start for start, _ in _TAI_AHEAD_FROM], day)
    return _TAI_AHEAD_FROM[max(place - 1, 0)][1]


def moment(card: Card, field: str) -> tuple[Told, ...]:
    """A date, or date and time, as ISO 8601 text; the old form DD/MM/YY means 19YY."""
    if card.value is None or (isinstance(card.value, str) and not card.value.strip()):
        raise NotKnown("no value")
    text, notes = card.text.strip("' "), [card.odd] if card.odd else []
    if _NOT_START.search(card.comment) and not _START.search(card.comment):
        # The contrary statement of which section 4.4.2.1 speaks: DATE-OBS is the start unless the comment says not.
        field = "date_avg" if "mid" in card.comment.casefold() else "date_end"
    if card.quoted and not notes and _PLAIN.match(text) and not _LOCAL.search(card.comment):
        with suppress(ValueError):
            if EARLIEST <= datetime.fromisoformat(text[:26]).year < LATEST:
                return (Told(field, text[:26]),)
    if not card.quoted:
        if card.fault and not card.fault.startswith("neither"):
            raise NotUnderstood(card.fault)
        notes.append("a date without quotes")
    old = _OLD.match(text)
    if old:
        return _told(field, date_text(1900 + int(old.group(3)), int(old.group(2)), int(old.group(1))), notes)
    match = _ISO.match(text)
    if not match:
        raise NotUnderstood("no date")
    year, month, day, hour, minute, second, fraction, zone = match.groups()
    told = date_text(int(year), int(month), int(day))
    if text[4] != "-" or len(month) < 2 or len(day) < 2:
        notes.append("a date not written as the standard says")
    if hour is None:
        return _told(field, told, notes)
    told += "T" + clock_text(hour, minute, second, fraction)
    if second is None or "," in text or " " in text or len(hour) < 2:
        notes.append("a time not written as the standard says")
    if zone:
        notes.append("a time with a zone")
        told += "+00:00" if zone[0] not in "+-" else zone if ":" in zone else f"{zone[:3]}:{zone[3:]}"
    if _LOCAL.search(card.comment) and "utc" not in card.comment.casefold():
        return (*_told(field, told, notes), Told(f"{field}_is_local", True))
    return _told(field, told, notes)


def clock(card: Card, field: str) -> tuple[Told, ...]:
    """A time of day as HH:MM:SS text."""
    if card.value is None or (isinstance(card.value, str) and not card.value.strip()):
        raise NotKnown("no value")
    match = _CLOCK.match(card.text.strip("' "))
    if not match:
        raise NotUnderstood("no time of day")
    hour, minute, second, fraction = match.groups()
    return _told(field, clock_text(hour, minute, second, fraction), [card.odd] if card.odd else [])


def julian(card: Card, field: str) -> tuple[Told, ...]:
    """A Julian date, whole or modified, in days."""
    written = number(card)
    if written.value <= 0.0:
        raise NotKnown("stands for 'not known'", sentinel=True)
    return (Told(field, written.value, "d", written.odd, "value_odd" if written.odd else ""),)


def scale(card: Card, field: str) -> tuple[Told, ...]:
    """The time scale: UTC, TT, TAI, GPS or LOCAL."""
    text = card.value.split("(")[0].strip().upper() if isinstance(card.value, str) else ""
    if not text:
        raise NotKnown("no value")
    if text not in SCALES:
        raise NotUnderstood("no known time scale")
    return (Told(field, SCALES[text]),)


def _told(field: str, text: str, notes: list[str]) -> tuple[Told, ...]:
    return (Told(field, text, "", ", ".join(notes), "value_odd" if notes else ""),)


def date_text(year: int, month: int, day: int) -> str:
    """A possible date as YYYY-MM-DD. Raises NotUnderstood."""
    try:
        found = date(year, month, day)
    except ValueError as error:
        raise NotUnderstood("no such day") from error
    if not EARLIEST <= year < LATEST:
        raise NotUnderstood("no possible year")
    return found.isoformat()


def clock_text(hour: str, minute: str, second: str | None, fraction: str | None) -> str:
    """A possible time of day as HH:MM:SS[.ffffff]. Second 60, a leap second, is kept. Raises NotUnderstood."""
    if int(hour) > 23 or int(minute) > 59 or int(second or 0) > 60:
        raise NotUnderstood("no such time of day")
    told = f"{int(hour):02d}:{minute}:{second or '00'}"
    return told + f".{fraction[:6].ljust(6, '0')}" if fraction else told


def started_at(
    told: dict[str, Any], where: dict[str, str], exposure_s: float | None
) -> tuple[datetime | None, str | None, str]:
    """Start of the exposure, the keyword it is from, and a note.

    told: what the time keywords tell, by field; where: their keywords. Aware where the file names UTC, by the
    standard's default, or a zone; naive for local time. DATE-BEG is the start by definition; DATE-OBS the start without
    contrary statement (section 4.4.2.1); with a day only, the time of day is in a second keyword.
    """
    scale_: str = told.get("time_scale", "UTC")
    for field in ("date_beg", "date_obs"):
        text: str | None = told.get(field)
        if text is None:
            continue
        origin = where[field]
        if "T" not in text:
            if "time_obs" not in told:
                continue  # a day alone says no moment; a Julian date may
            text, origin = f"{text}T{told['time_obs']}", f"{origin}+{where['time_obs']}"
        local = f"{field}_is_local" in told or scale_ == "LOCAL"
        return _in_utc(text, scale_, local), origin, "local time" if local else ""
    for field, epoch in (("mjd_obs", 0.0), ("jd_obs", 2_400_000.5)):
        if field in told and 15_000 < told[field] - epoch < 130_000:
            found = _MJD_EPOCH + timedelta(seconds=round((told[field] - epoch) * 86400.0, 3))
            return _from_scale(found, scale_), where[field], ""
    if "T" in told.get("date_local", ""):
        return _in_utc(told["date_local"], "LOCAL", True), where["date_local"], "local time"
    for field, share in (("date_avg", 0.5), ("date_end", 1.0)):
        if "T" in told.get(field, "") and exposure_s is not None:
            found = _in_utc(told[field], scale_, scale_ == "LOCAL")
            return found - timedelta(seconds=share * exposure_s), where[field], "reckoned back by the exposure"
    for field, share in (("mjd_avg", 0.5), ("mjd_end", 1.0)):
        if 15_000 < told.get(field, 0.0) < 130_000 and exposure_s is not None:
            found = _from_scale(_MJD_EPOCH + timedelta(seconds=round(told[field] * 86400.0, 3)), scale_)
            return found - timedelta(seconds=share * exposure_s), where[field], "reckoned back by the exposure"
    return None, None, ""


def start_doubtful(told: dict[str, Any], where: dict[str, str], exposure_s: float | None) -> str:
    """Why the time taken for the start looks like the middle or the end of the exposure, or empty.

    The start must lie half the exposure before the middle and all of it before the end, where the header gives those.
    """
    start: str = told.get("date_beg") or told.get("date_obs") or ""
    if "T" not in start or exposure_s is None or exposure_s < LEAST_TOLD_S:
        return ""
    name = where["date_beg" if "date_beg" in told else "date_obs"]
    for field, share in (("date_end", 1.0), ("date_avg", 0.5)):
        other: str = told.get(field, "")
        if "T" not in other or where[field] == name:
            continue
        pair = [_in_utc(text, "LOCAL", True).replace(tzinfo=None) for text in (start, other)]
        apart = (pair[1] - pair[0]).total_seconds()
        if apart < 0.5 * share * exposure_s:
            return f"{where[field]} is {apart:g} s after {name}, in an exposure of {exposure_s:g} s"
    for field, epoch in (("mjd_obs", 0.0), ("jd_obs", 2_400_000.5)):
        days: float = told.get(field, 0.0) - epoch
        if 15_000 < days < 130_000 and not any(f"{one}_is_local" in told for one in ("date_obs", "date_beg")):
            there = (_MJD_EPOCH + timedelta(days=days)).replace(tzinfo=None)
            apart = abs((there - _in_utc(start, "LOCAL", True).replace(tzinfo=None)).total_seconds())
            if apart > exposure_s + CLOSE_S:
                return f"{where[field]} is {apart:.0f} s from {name}"
    return ""


def _in_utc(text: str, scale_: str, local: bool) -> datetime:
    leap = text[17:19] == "60"
    found = datetime.fromisoformat(text[:17] + "59" + text[19:] if leap else text) + timedelta(seconds=1 if leap else 0)
    if found.tzinfo is not None:
        return found.astimezone(UTC)
    return found if local else _from_scale(found.replace(tzinfo=UTC), scale_)


def _from_scale(found: datetime, scale_: str) -> datetime:
    ahead = tai_ahead_s(found.date())
    behind = {"TAI": float(ahead), "TT": ahead + 32.184, "GPS": ahead - 19.0}.get(scale_, 0.0)
    return found - timedelta(seconds=behind)
