"""The night a frame belongs to: local noon to local noon, named by the date on which it began."""

from datetime import datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from darklib.facts.errors import DarklibError, Exit


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


def localised(taken_at: datetime, zone_name: str) -> datetime:
    """An aware moment: a naive time is read in the zone; an aware one is left as it is."""
    return taken_at if taken_at.tzinfo is not None else taken_at.replace(tzinfo=zone(zone_name))


def night_of(taken_at: datetime, zone_name: str) -> str:
    """The night of an aware moment as an ISO date: the local date of the moment twelve wall-clock hours earlier."""
    local = taken_at.astimezone(zone(zone_name)).replace(tzinfo=None)
    return (local - timedelta(hours=12)).date().isoformat()
