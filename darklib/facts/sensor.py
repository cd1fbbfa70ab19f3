"""What a camera is, measured from its own frames: the model that prices a match; figures have errors or are None."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from darklib.facts.frame import BodyRef, Readout


@dataclass(frozen=True, slots=True)
class Value:
    """A measured figure and its standard error (one sigma), in the same unit. None: no error is known."""

    value: float
    error: float | None = None


@dataclass(frozen=True, slots=True)
class DarkRates:
    """How the pixels of a sensor are spread over dark rates at one sensor temperature, as a histogram.

    rates_e_s: a representative rate of each bin, electrons per second, rising; pixels: how many pixels each bin
    holds, as many entries as rates_e_s. The spread is the sensor's own: the noise of the frames it was measured on
    has been taken off. Bins from hot_from_e_s on follow the hot pixels' law of temperature, those below the median's.
    """

    temperature_c: float
    rates_e_s: tuple[float, ...]
    pixels: tuple[int, ...]
    hot_from_e_s: float


@dataclass(frozen=True, slots=True)
class DarkCurrent:
    """Dark current at one temperature: the median pixel and the spread over pixels (robust sigma), and from how many
    frames. tail_e_s: the rate that one pixel in a thousand exceeds.
    """

    temperature_c: float
    median_e_s: Value
    spread_e_s: Value
    tail_e_s: Value | None
    frames: int


@dataclass(frozen=True, slots=True)
class SensorModel:
    """One body in one readout, as its own frames show it. None: the library's frames do not tell.

    bias_dn: level of a bias, DN. read_noise_e: electrons rms. gain_e_per_dn: electrons per DN. full_well_e: electrons
    at which the response leaves its straight line or the converter ends. doubling_c: degrees in which the median
    dark current doubles; hot_doubling_c: the same of hot pixels. level_held: the camera holds its black level, so
    that the level of a dark says nothing of its dark current. troubles: codes of `facts/codes`.
    frames_used: how many frames of each kind; advice: sentences on what to shoot to know more.
    """

    body: BodyRef
    readout: Readout
    bias_dn: Value | None = None
    read_noise_e: Value | None = None
    gain_e_per_dn: Value | None = None
    full_well_e: Value | None = None
    dark_current: tuple[DarkCurrent, ...] = ()
    doubling_c: Value | None = None
    hot_doubling_c: Value | None = None
    hot_pixels_per_megapixel: Value | None = None
    dark_rates: DarkRates | None = None
    level_held: bool | None = None
    troubles: tuple[str, ...] = ()
    frames_used: Mapping[str, int] = field(default_factory=dict)
    advice: tuple[str, ...] = ()
