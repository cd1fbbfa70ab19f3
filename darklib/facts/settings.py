"""What the user can set, with defaults from the rules of thumb of the trade (common practice, no single source)."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Site:
    """Where the camera stands. timezone: IANA name; the night begins at local noon there."""

    timezone: str = "Etc/UTC"
    latitude_deg: float | None = None
    longitude_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Counts:
    """How many frames make a set: below least a set is too small to be good; good is what a gap asks for."""

    darks_least: int = 10
    darks_good: int = 20
    flats_least: int = 10
    flats_good: int = 20
    biases_least: int = 10
    biases_good: int = 20
    dark_flats_least: int = 10
    dark_flats_good: int = 20


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of the verdicts until the sensor is measured."""

    good_temperature_c: float = 2.0
    usable_temperature_c: float = 5.0
    aged_days: int = 365
    set_span_c: float = 1.0
    """Darks of one set lie within this many degrees."""
    flats_aged_days: int = 30
    long_flat_s: float = 2.0
    """A flat exposed longer than this wants dark flats; a shorter one does with biases."""


@dataclass(frozen=True, slots=True)
class PriceLimits:
    """Limits of the verdicts of darks once the sensor is measured. Percent of exposure time that an exact set would
    save, with dithered lights and with the sky fixed to its pixels; hot pixels left; false vignetting, percent of sky.
    """

    good_dithered_percent: float = 5.0
    good_fixed_percent: float = 25.0
    good_hot_pixels_per_megapixel: float = 150.0
    good_flat_residual_percent: float = 0.5
    usable_dithered_percent: float = 25.0
    usable_fixed_percent: float = 100.0
    usable_hot_pixels_per_megapixel: float = 1000.0
    usable_flat_residual_percent: float = 2.0


@dataclass(frozen=True, slots=True)
class Shooting:
    """Costs in time of a shooting plan."""

    download_s: float = 2.0
    settling_minutes: float = 20.0


@dataclass(frozen=True, slots=True)
class Camera:
    """What the user states of one body: lower limit of its operating range from its manual, degrees C; own cooler."""

    lowest_c: float | None = None
    cooled: bool | None = None


@dataclass(frozen=True, slots=True)
class Settings:
    """The whole configuration. cameras: by body id."""

    site: Site = Site()
    counts: Counts = Counts()
    limits: Limits = Limits()
    prices: PriceLimits = PriceLimits()
    shooting: Shooting = Shooting()
    cameras: dict[str, Camera] = field(default_factory=dict)
