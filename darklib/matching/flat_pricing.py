"""What the noise of a set of flats costs the lights, where the sensor is measured."""

from dataclasses import replace
from statistics import fmean

from darklib.facts.match import Choice
from darklib.matching.pricing import Pricing, lights_at
from darklib.matching.target import Target
from darklib.sensor.cost import mean_variance
from darklib.sensor.cost_flats import flat_cost
from darklib.sensor.cost_pointing import lights_factor


def priced_flats(choice: Choice, lights: Target, pricing: Pricing) -> Choice:
    """The choice with the cost of its noise: 1 / E of the sky squared, with E the electrons of the whole set.

    As it is where a level, the black or the lights' temperature is not known, or the set was shot at another gain.
    What a shadow that moved costs is not in it.
    """
    one = choice.set
    if one is None or not lights.temperatures_c or pricing.black_dn is None:
        return choice
    readout, own = lights.readout, one.readout
    if (readout.gain, readout.iso, readout.offset) != (own.gain, own.iso, own.offset):
        return choice
    levels = [frame.median_dn for frame in one.frames if frame.median_dn is not None and frame.combined is None]
    if len(levels) != len(one.frames):
        return choice
    flat_e = sum(max(level - pricing.black_dn, 0.0) for level in levels) * pricing.gain_e_per_dn
    if flat_e <= 0.0:
        return choice
    variance = fmean(mean_variance(pricing.sensor, group) for group in lights_at(pricing, lights))
    sky_e = pricing.sky_e_s * pricing.exposure_s
    dithered = flat_cost(sky_e, variance, flat_e)
    fixed = flat_cost(sky_e, variance, flat_e, sharing=float(len(lights.frames)))
    factor = lights_factor(fixed if pricing.fixed else dithered, fixed_pointing=pricing.fixed)
    return replace(
        choice,
        time_cost_percent=round(100.0 * (fixed if pricing.fixed else dithered), 3),
        time_cost_percent_fixed=round(100.0 * fixed, 3),
        time_cost_percent_dithered=round(100.0 * dithered, 3),
        lights_factor=None if factor is None else round(factor, 4),
    )
