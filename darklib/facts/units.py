"""Units as they are compared: whole microseconds and hundredths of a degree; and when two exposures are equal."""

from datetime import UTC, datetime, timedelta

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
KELVIN_AT_ZERO_C = 273.15


def microseconds(seconds: float) -> int:
    """Seconds as whole microseconds, for exact comparison and storage."""
    return round(seconds * 1_000_000)


def seconds(microseconds_: int) -> float:
    """Whole microseconds as seconds."""
    return microseconds_ / 1_000_000


def hundredths(temperature_c: float) -> int:
    """Degrees C as whole hundredths."""
    return round(temperature_c * 100)


def degrees(hundredths_: int) -> float:
    """Hundredths of a degree as degrees C."""
    return hundredths_ / 100


def instant_us(moment: datetime) -> int:
    """A moment with a time zone as microseconds since 1970-01-01 UTC, exactly."""
    if moment.tzinfo is None:
        raise ValueError("a moment needs a time zone")
    return (moment - EPOCH) // timedelta(microseconds=1)


def moment(instant_us_: int) -> datetime:
    """Microseconds since 1970-01-01 UTC as a moment in UTC."""
    return EPOCH + timedelta(microseconds=instant_us_)


def iso_z(moment_: datetime) -> str:
    """A moment as ISO 8601 in UTC with `Z`; fractions only where there are any."""
    utc = moment_.astimezone(UTC)
    text = utc.strftime("%Y-%m-%dT%H:%M:%S")
    if utc.microsecond:
        text += f".{utc.microsecond:06d}".rstrip("0")
    return text + "Z"


DIAL_30_S = (29.5, 32.5)
"""A dial's 30 s is 32 s on many bodies, five stops from 1 s, and written down as either (common practice)."""


def exposures_equal(a_s: float, b_s: float) -> bool:
    """Whether two exposures serve each other: within the larger of 1 s and 2 percent, or both the dial's 30 s.

    Bulb times wobble by a second (common practice, no single source). Symmetric: the percentage is taken of the longer
    one.
    """
    if DIAL_30_S[0] <= min(a_s, b_s) and max(a_s, b_s) <= DIAL_30_S[1]:
        return True
    return abs(a_s - b_s) <= max(1.0, 0.02 * max(abs(a_s), abs(b_s))) + 1e-9


def equal_exposures_s(exposure_s: float) -> tuple[float, float]:
    """Least and greatest of the exposures that are equal to one by `exposures_equal`."""
    low = max(0.0, exposure_s - max(1.0, 0.02 * exposure_s))
    high = max(exposure_s + 1.0, exposure_s / 0.98)
    if DIAL_30_S[0] <= exposure_s <= DIAL_30_S[1]:
        return min(low, DIAL_30_S[0]), max(high, DIAL_30_S[1])
    return low, high


def same_series_exposure(a_s: float, b_s: float) -> bool:
    """Whether two exposures are one setting of the shutter: as `exposures_equal` from 20 s, within 2 percent below.

    Flats of 0.5 s and 1.2 s are equal as darks go, but were set differently and belong to two series.
    """
    if min(a_s, b_s) >= 20.0:
        return exposures_equal(a_s, b_s)
    return abs(a_s - b_s) <= 0.02 * max(abs(a_s), abs(b_s)) + 1e-9
