"""What a camera is, measured from its own frames: the model that prices a match; figures have errors or are None."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from darklib.facts.frame import BodyRef, FrameWarning, Readout


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
class DarkLaw:
    """How dark current grows with temperature. shape: doubling (2^((T - T0) / dT)) or arrhenius (T^(3/2) exp(-E / kT)).

    rate_e_s: at reference_c, the middle of the span from low_c to high_c. doubling_c: there; None where the span is too
    wide for one number. doubling_low_c, doubling_high_c: at the ends. residuals: each point over the law, less one, in
    the order of SensorModel.dark_current's points that are above zero; scatter: their root mean square over their
    errors.
    """

    shape: str
    reference_c: float
    rate_e_s: float
    doubling_c: Value | None
    energy_ev: Value | None
    low_c: float
    high_c: float
    doubling_low_c: float
    doubling_high_c: float
    residuals: tuple[float, ...]
    scatter: float


@dataclass(frozen=True, slots=True)
class Dated:
    """One figure of one night, for drift over the years. what: bias_dn, read_noise_dn or hot_pixels_per_megapixel."""

    night: str
    what: str
    value: Value


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A frame that was not measured, by its id: a code of `facts/codes` and why in words."""

    id: str
    code: str
    why: str


@dataclass(frozen=True, slots=True)
class SensorModel:
    """One body in one readout, as its own frames show it. None: the library's frames do not tell.

    bias_dn: level of a bias, DN. read_noise_e: electrons rms. gain_e_per_dn: electrons per DN. full_well_e: electrons
    at which the response leaves its straight line or the converter ends. doubling_c: degrees in which the median
    dark current doubles; hot_doubling_c: the same of hot pixels. level_held: the camera holds its black level, so
    that the level of a dark says nothing of its dark current. troubles: codes of `facts/codes`.
    frames_used: how many frames of each kind; advice: sentences on what to shoot to know more.

    gain_by_colour, black_by_colour: electrons per DN and level of a bias of each CFA colour ("" for mono). linear_e:
    electrons up to which variance follows the mean, where brighter flats have left the line. step_dn: distance of the
    numbers written. law: of the median's dark current. unstable_pixels_per_megapixel: pixels that change from frame to
    frame beyond their noise. trouble_details: the troubles in sentences with figures. history: figures by night.
    gain_assumed: the gain is that of another ISO, in proportion. used_ids, left_out: which frames. read_noise_dn: DN
    rms. rates_by_temperature: histograms as dark_rates, one a temperature, coldest first.
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
    gain_by_colour: Mapping[str, Value] = field(default_factory=dict)
    black_by_colour: Mapping[str, Value] = field(default_factory=dict)
    linear_e: Value | None = None
    step_dn: float = 1.0
    law: DarkLaw | None = None
    unstable_pixels_per_megapixel: Value | None = None
    trouble_details: tuple[FrameWarning, ...] = ()
    history: tuple[Dated, ...] = ()
    gain_assumed: bool = False
    used_ids: tuple[str, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    read_noise_dn: Value | None = None
    rates_by_temperature: tuple[DarkRates, ...] = ()
