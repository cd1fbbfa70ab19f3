"""The night a frame belongs to: local noon to local noon, named by the date on which it began.

Two sorts of frames follow others of their camera across a noon: lights of a run that has not been broken, and flats
shot early in the afternoon for the night before. `nights_of` is the rule; it looks at what the frames say of themselves
and at nothing else, so it gives the same whatever order they came in.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from darklib.facts.errors import DarklibError, Exit

PAUSE_S = 3600.0
"""Lights are one run while less than this lies between the end of one and the start of the next: a swing to the other
side of the mount, a new focus or a cloud take less (common practice, no single source)."""

LONGEST_IN_RUN_S = 6 * 3600.0
"""No longer exposure bridges a pause; a header may hold any number."""

EARLY_AFTERNOON_S = 3 * 3600.0
"""Flats of the morning after are shot until three hours after noon: the Sun may stand highest at 14:00 in summer."""

FLATS_AFTER_S = 14 * 3600.0
"""So long after the last light the camera is still on the telescope (common practice, no single source)."""

FLATS_BEFORE_S = 3 * 3600.0
"""Flats with lights that follow within this were shot for those."""

SUN_FROM_CLOCK_H = 3.0
"""Nowhere do clocks differ by more from the Sun; where a longitude does, the camera was not where the zone is."""

SIGN_WRONG_WITHIN_H = 2.0
"""A longitude that fits the zone as well as this with the other sign was counted to the west."""


@cache
def zone(name: str) -> ZoneInfo:
    """The IANA time zone of that name. Raises DarklibError (usage) when there is none."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise DarklibError(
            "unknown_time_zone",
            f"There is no time zone named {name!r}.",
            remedy="Write an IANA name such as 'Etc/UTC' or 'Region/City' under [site] timezone in darklib.toml.",
            status=Exit.USAGE,
        ) from error


def localised(taken_at: datetime, zone_name: str, *, steady: bool = False) -> datetime:
    """An aware moment: a naive time is read in the zone; an aware one is left as it is.

    steady: of a clock that does not change over by itself, as a camera's, in contrast to a computer's. It is read with
    the zone's offset at the noon before: the hour that comes twice in autumn is not torn apart, and the one that is
    missing in spring is there.
    """
    if taken_at.tzinfo is not None:
        return taken_at
    if not steady:
        return taken_at.replace(tzinfo=zone(zone_name))
    noon = (taken_at - timedelta(hours=12)).replace(hour=12, minute=0, second=0, microsecond=0)
    ahead = noon.replace(tzinfo=zone(zone_name)).utcoffset()
    return taken_at.replace(tzinfo=timezone(ahead or timedelta(0)))


def local_clock(taken_at: datetime, zone_name: str, longitude_deg: float | None = None) -> datetime:
    """What a clock showed where the camera stood, as a naive time.

    longitude_deg: of the site, east positive. Where it lies further from the zone than clocks do from the Sun, the
    camera was elsewhere, and mean solar time there is taken. A longitude whose sign alone is wrong fits with the other.
    """
    local = taken_at.astimezone(zone(zone_name))
    ahead_h = (local.utcoffset() or timedelta(0)).total_seconds() / 3600.0
    elsewhere = longitude_deg is not None and _from_sun_h(longitude_deg, ahead_h) > SUN_FROM_CLOCK_H
    if longitude_deg is not None and elsewhere and _from_sun_h(-longitude_deg, ahead_h) > SIGN_WRONG_WITHIN_H:
        moved_h = longitude_deg / 15.0 - ahead_h
        return local.replace(tzinfo=None) + timedelta(hours=(moved_h + 12.0) % 24.0 - 12.0)
    return local.replace(tzinfo=None)


def _from_sun_h(longitude_deg: float, ahead_h: float) -> float:
    # Round the globe: west of the date line clocks may be a day ahead of the Sun's.
    return abs((longitude_deg / 15.0 - ahead_h + 12.0) % 24.0 - 12.0)


def night_of(taken_at: datetime, zone_name: str, longitude_deg: float | None = None) -> str:
    """The night of an aware moment by itself, as an ISO date: the local date twelve wall-clock hours earlier."""
    return (local_clock(taken_at, zone_name, longitude_deg) - timedelta(hours=12)).date().isoformat()


def after_noon_s(taken_at: datetime, zone_name: str, longitude_deg: float | None = None) -> float:
    """Wall-clock seconds since the noon at which the night of that moment began."""
    past = local_clock(taken_at, zone_name, longitude_deg) - timedelta(hours=12)
    return timedelta(hours=past.hour, minutes=past.minute, seconds=past.second).total_seconds()


@dataclass(frozen=True, slots=True)
class Shot:
    """What the rule looks at. night: by itself; start_us, exposure_us: microseconds; is_light: else it is a flat.

    camera: whatever tells cameras apart. early_afternoon: within EARLY_AFTERNOON_S after the noon of its night.
    """

    id: str
    camera: object
    is_light: bool
    start_us: int
    exposure_us: int | None
    night: str
    early_afternoon: bool = False


def goes_on(start_us: int, exposure_us: int | None, next_start_us: int) -> bool:
    """Whether a light that starts then belongs to the run of the light before it."""
    exposure = min(exposure_us or 0, int(LONGEST_IN_RUN_S * 1e6))
    return next_start_us - start_us - exposure <= PAUSE_S * 1e6


def serves_night_before(flat_us: int, last_light_us: int | None, next_light_us: int | None) -> bool:
    """Whether a flat of the early afternoon is one of the morning after: lights not long before, none soon after."""
    if last_light_us is None or flat_us - last_light_us > FLATS_AFTER_S * 1e6:
        return False
    return next_light_us is None or next_light_us - flat_us > FLATS_BEFORE_S * 1e6


def nights_of(shots: Iterable[Shot]) -> dict[str, str]:
    """The night of each shot, by id: of a run of lights that of its first; of flats of the morning after that of the
    last light before them; else its own.
    """
    found: dict[str, str] = {}
    by_camera: dict[object, list[Shot]] = {}
    for shot in sorted(shots, key=lambda one: (one.start_us, one.id)):
        by_camera.setdefault(shot.camera, []).append(shot)
    for of_one in by_camera.values():
        lights = [shot for shot in of_one if shot.is_light]
        before: Shot | None = None
        for light in lights:
            joined = before is not None and goes_on(before.start_us, before.exposure_us, light.start_us)
            found[light.id] = found[before.id] if joined and before is not None else light.night
            before = light
        for flat in of_one:
            if flat.is_light:
                continue
            last = next((one for one in reversed(lights) if one.start_us <= flat.start_us), None)
            following = next((one.start_us for one in lights if one.start_us > flat.start_us), None)
            follows = serves_night_before(flat.start_us, last.start_us if last else None, following)
            found[flat.id] = found[last.id] if last and follows and flat.early_afternoon else flat.night
    return found
