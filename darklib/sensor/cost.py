"""The price of a set of darks for a batch of lights: what it costs against a perfect dark, in both pointings.

Everything in electrons, of one body and readout. The ideas are in the modules beside this one: `cost_rates` (pixels by
dark rate), `cost_noise` (variances), `cost_pointing` and `cost_rejection` (what they make of a stack), `cost_flats`,
`cost_verdict`.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import hypot, log
from statistics import fmean

from darklib.facts.sensor import SensorModel
from darklib.sensor.cost_noise import median_factor, reading_variance
from darklib.sensor.cost_pointing import dithered, fixed, fixed_with_hot, hot_left, lights_factor, sharing
from darklib.sensor.cost_rates import Rates, rates_of
from darklib.sensor.cost_rejection import KAPPA, LEAST_TO_REJECT, clipped_variance, loss

ASSUMED_DOUBLING_C = 6.0
"""Degrees in which dark current doubles, until it is measured (published figures lie between 5 and 8 degrees)."""

ASSUMED_HOT_DOUBLING_C = 6.5
"""The same of hot pixels, which follow laws of their own (Widenhorn et al. 2002, Proc. SPIE 4669)."""

HOT_LAW_SCATTER = 0.1
"""Share by which the doubling of single hot pixels differs from the common one: activation energies are each pixel's
own (Widenhorn et al. 2002, Proc. SPIE 4669; the figure is assumed)."""

ASSUMED_SKY_E_S = 1.0
"""Electrons a second and pixel of the sky where lights do not tell: 0.05 behind a narrow filter, 6 in a town."""


@dataclass(frozen=True, slots=True)
class Sensor:
    """What of a camera a price needs. step_e: electrons of one step of the converter. full_well_e: None: not known.
    level_held: the camera holds its black level, so that a set's level says nothing and leaves no error.
    """

    read_noise_e: float
    step_e: float
    rates: Rates
    full_well_e: float | None = None
    level_held: bool = False


@dataclass(frozen=True, slots=True)
class Lights:
    """A batch of lights. sky_e_s: electrons per second and pixel. places: how many lights at each place of the sky,
    where the pointing wandered between a few of them; none: for fixed pointing all at one.
    """

    exposure_s: float
    temperature_c: float
    count: int
    sky_e_s: float
    places: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class DarkSet:
    """A set of darks as it would be used. count: exposures in it. scale: its dark current is multiplied by this, the
    bias taken from `biases` frames; median: combined by the median instead of the mean. law_scatter: for a set that is
    scaled to another temperature, by how much of itself the doubling of single hot pixels differs from the common one.
    """

    exposure_s: float
    temperature_c: float
    count: int
    scale: float = 1.0
    biases: int | None = None
    median: bool = False
    law_scatter: float = 0.0


@dataclass(frozen=True, slots=True)
class Price:
    """What a set costs against a perfect dark. fixed, dithered: q, the share by which the variance of the stack grows;
    factors: times as many lights win it back, None: no number does. hot_left_per_megapixel: pixels whose residual
    stands out of a light by 5 sigma. level_error_e: what is left of the dark's level; 0 where the camera holds it.
    fixed_with_hot: q on fixed pixels with hot pixels left counted in, for comparing sets.
    """

    fixed: float
    dithered: float
    factor_fixed: float | None
    factor_dithered: float | None
    hot_left_per_megapixel: float
    level_error_e: float
    sky_e: float
    fixed_with_hot: float


def sensor_of(model: SensorModel, near_c: float | None = None) -> Sensor | None:
    """What a measured model gives for pricing; None where read noise, gain or dark rates are not measured.

    near_c: temperature of the lights. Of several histograms the nearest is taken, since every hot pixel has a law of
    its own and one number for all of them carries less and less far.
    """
    if model.read_noise_e is None or model.gain_e_per_dn is None:
        return None
    rates = model.dark_rates
    if near_c is not None and model.rates_by_temperature:
        rates = min(model.rates_by_temperature, key=lambda one: abs(one.temperature_c - near_c))
    if rates is None or not any(rates.pixels):
        return None
    usual = model.doubling_c.value if model.doubling_c is not None else ASSUMED_DOUBLING_C
    hot = model.hot_doubling_c.value if model.hot_doubling_c is not None else ASSUMED_HOT_DOUBLING_C
    gain = model.gain_e_per_dn.value
    tops = [model.full_well_e.value] if model.full_well_e is not None else []
    if model.readout.white_dn is not None and model.bias_dn is not None:
        tops.append((model.readout.white_dn - model.bias_dn.value) * gain)
    return Sensor(
        model.read_noise_e.value,
        gain * (model.readout.dn_step or 1),
        rates_of(rates, usual, hot),
        min((one for one in tops if one > 0.0), default=None),
        bool(model.level_held),
    )


@dataclass(frozen=True, slots=True)
class _Prepared:
    """What all sets for the same lights share: electrons and variance of each bin; sigma of an ordinary pixel."""

    total_e: tuple[float, ...]
    variance_e2: tuple[float, ...]
    sigma_e: float
    perfect_clipped: float


@lru_cache(maxsize=512)
def _prepared(sensor: Sensor, lights: Lights, kappa: float | None) -> _Prepared:
    reading = reading_variance(sensor.read_noise_e, sensor.step_e)
    top = sensor.full_well_e if sensor.full_well_e is not None else float("inf")
    t, sky = lights.exposure_s, lights.sky_e_s
    total = tuple(min((rate + sky) * t, top) for rate in sensor.rates.at(lights.temperature_c))
    variance = tuple(reading + e for e in total)
    sigma = middle(variance, sensor.rates.shares) ** 0.5
    clipped = 1.0
    if kappa is not None:
        nothing = (0.0,) * len(variance)
        clipped = clipped_variance(nothing, nothing, variance, sensor.rates.shares, lights.count, kappa)
    return _Prepared(total, variance, sigma, clipped)


def price(sensor: Sensor, lights: Lights, dark: DarkSet | None, *, kappa: float | None = KAPPA) -> Price:
    """The price of a set, or with None of using no dark at all.

    kappa: where stacking rejects outliers, in sigma of a light; None: it does not. Nothing is rejected from fewer than
    LEAST_TO_REJECT lights.
    """
    return _price(sensor, lights, dark, kappa if lights.count >= LEAST_TO_REJECT else None)


@lru_cache(maxsize=8192)
def _price(sensor: Sensor, lights: Lights, dark: DarkSet | None, kappa: float | None) -> Price:
    shares = sensor.rates.shares
    ready = _prepared(sensor, lights, kappa)
    top = sensor.full_well_e if sensor.full_well_e is not None else float("inf")
    sky_e = lights.sky_e_s * lights.exposure_s
    if dark is None:
        r = [total - sky_e for total in ready.total_e]
        m = [0.0] * len(r)
    else:
        reading = reading_variance(sensor.read_noise_e, sensor.step_e)
        t, k = dark.exposure_s, dark.scale
        own = [min(rate * t, top) for rate in sensor.rates.at(dark.temperature_c)]
        r = [total - sky_e - k * e for total, e in zip(ready.total_e, own, strict=True)]
        weight = k * k / dark.count * (median_factor(dark.count) if dark.median else 1.0)
        of_bias = 0.0
        if k != 1.0 and dark.biases:
            factor = median_factor(dark.biases) if dark.median else 1.0
            of_bias = (1.0 - k) ** 2 * reading / dark.biases * factor
        m = [weight * (reading + e) + of_bias for e in own]
        if dark.law_scatter:
            # What the common factor leaves on a hot pixel whose own law is another: fixed to the pixel, up or down.
            doublings = abs(lights.temperature_c - dark.temperature_c) / sensor.rates.hot_doubling_c
            share = log(2.0) * doublings * dark.law_scatter
            for number in range(sensor.rates.first_hot, len(r)):
                r[number] = hypot(r[number], share * k * own[number])
    delta = middle(r, shares)
    r = [residual - delta for residual in r]
    v = ready.variance_e2
    sharing_ = sharing(lights.places) if lights.places else float(lights.count)
    of_fixed = fixed(r, m, v, shares, ready.sigma_e, sharing_)
    compared = fixed_with_hot(r, m, v, shares, ready.sigma_e, sharing_)
    if kappa is None:
        of_dithered = dithered(r, m, v, shares)
    else:
        # On fixed pixels rejection sees the lights' noise alone, which it raises a little; the errors stay.
        of_fixed /= loss(lights.count)
        of_dithered = clipped_variance(r, m, v, shares, lights.count, kappa) / ready.perfect_clipped - 1.0
    return Price(
        of_fixed,
        of_dithered,
        lights_factor(of_fixed, fixed_pointing=True),
        lights_factor(of_dithered, fixed_pointing=False),
        hot_left(r, shares, ready.sigma_e),
        0.0 if sensor.level_held else delta,
        sky_e,
        compared,
    )


def mean_variance(sensor: Sensor, lights: Lights) -> float:
    """Variance of one light, the mean over the pixels, electrons squared."""
    ready = _prepared(sensor, lights, None)
    return sum(v * share for v, share in zip(ready.variance_e2, sensor.rates.shares, strict=True))


def exact_set(lights: Lights, count: int) -> DarkSet:
    """The set a price is measured against: darks of the lights' own exposure and temperature, so many of them."""
    return DarkSet(lights.exposure_s, lights.temperature_c, count)


def over_temperatures(prices: list[Price]) -> Price:
    """One price for lights of several temperatures, from the price at each: shares of variance and counts averaged."""
    q_fixed, q_dithered = fmean(one.fixed for one in prices), fmean(one.dithered for one in prices)
    return Price(
        q_fixed,
        q_dithered,
        lights_factor(q_fixed, fixed_pointing=True),
        lights_factor(q_dithered, fixed_pointing=False),
        fmean(one.hot_left_per_megapixel for one in prices),
        fmean(one.level_error_e for one in prices),
        fmean(one.sky_e for one in prices),
        fmean(one.fixed_with_hot for one in prices),
    )


def middle(values: list[float] | tuple[float, ...], shares: tuple[float, ...]) -> float:
    """Median of values that stand for shares of the pixels, interpolated between neighbours."""
    ordered = sorted(zip(values, shares, strict=True))
    half = 0.5 * sum(shares)
    seen, last_value, last_at = 0.0, ordered[0][0], 0.0
    for value, share in ordered:
        # A bin's value stands for its own middle.
        at = seen + share / 2.0
        if at >= half:
            if at == last_at:
                return value
            return last_value + (value - last_value) * (half - last_at) / (at - last_at)
        seen, last_value, last_at = seen + share, value, at
    return ordered[-1][0]
