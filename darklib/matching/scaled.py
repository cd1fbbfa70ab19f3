"""Darks scaled to the lights: of another exposure, and where the sensor is measured also of another temperature."""

from collections.abc import Sequence
from dataclasses import replace

from darklib.facts.frame import Kind
from darklib.facts.match import Wanted
from darklib.facts.settings import Settings
from darklib.facts.units import equal_exposures_s, exposures_equal
from darklib.matching.dark_pool import rank_of, temperatures_about
from darklib.matching.darks import Judged, bias_removed, temperature_of
from darklib.matching.pool import Candidate, Pool, pool
from darklib.matching.pricing import Pricing
from darklib.matching.stock import Stock
from darklib.matching.target import Target

SCALE_LOW, SCALE_HIGH = 0.5, 2.0
"""A dark scaled further than this repeats its own noise and bias error too much to be offered without a price."""

PRICED_LOW, PRICED_HIGH = 0.2, 5.0
"""The same where the price tells what scaling costs."""

LEAST_OFF_C = 1.0
"""Nearer in temperature a dark is not scaled for it: the readings are no better."""

MOST_WARMED = 3
"""So many of the best sets of the lights' own exposure are also tried scaled to the lights' temperature."""


def scaled_pool(
    stock: Stock, target: Target, settings: Settings, pricing: Pricing | None = None, biases: int | None = None
) -> Pool:
    """Sets of darks of another exposure, each with the factor that brings it to the lights'.

    biases: frames their bias would be taken from. With a pricing the factor brings hot pixels to the lights'
    temperature as well.
    """
    exposure_s = target.exposure_s
    if not exposure_s:
        return Pool((), ())
    low_s, high_s = equal_exposures_s(exposure_s)
    least, most = (SCALE_LOW, SCALE_HIGH) if pricing is None else (PRICED_LOW, PRICED_HIGH)
    low_c, high_c = temperatures_about(target, settings.limits.usable_temperature_c)
    body = target.body.id if target.body else None
    questions = [
        Wanted(Kind.DARK, body, high_s, exposure_s / least, low_c, high_c, near=target.near, limit=60),
        Wanted(Kind.DARK, body, exposure_s / most, low_s, low_c, high_c, near=target.near, limit=60),
    ]
    found = pool(stock, "dark", target, questions, rank_of("dark", target, settings), settings, most_frames=120)
    scaled = []
    for one in found.candidates:
        own_s = one.set.exposure_s
        if not own_s or exposures_equal(own_s, exposure_s) or bias_removed(one.set):
            continue
        scale = exposure_s / own_s * _by_temperature(target, one, pricing)
        scaled.append(Candidate(one.set, "scaled", scale, one.unknown, one.doubts, biases))
    return Pool(tuple(scaled), found.misses)


def warmed(target: Target, judged: Sequence[Judged], pricing: Pricing, biases: int | None) -> list[Candidate]:
    """The best sets of the lights' own exposure and of another temperature, scaled to the lights' temperature."""
    made = []
    for one in judged[:MOST_WARMED]:
        factor = _by_temperature(target, one.candidate, pricing)
        if factor != 1.0 and not bias_removed(one.candidate.set):
            made.append(
                Candidate(one.candidate.set, "scaled", factor, one.candidate.unknown, one.candidate.doubts, biases)
            )
    return made


def rescaled(target: Target, candidates: Sequence[Candidate], pricing: Pricing | None) -> list[Candidate]:
    """The candidates for a part of the lights: scaled ones with the factor that brings them to its temperature.

    What needs no scaling there is left out, since it is among them as it is.
    """
    if pricing is None or not target.exposure_s:
        return list(candidates)
    made = []
    for one in candidates:
        own_s = one.set.exposure_s
        if one.scale is None or not own_s:
            made.append(one)
            continue
        equal = exposures_equal(own_s, target.exposure_s)
        factor = _by_temperature(target, one, pricing)
        if not (equal and factor == 1.0):
            made.append(replace(one, scale=factor if equal else target.exposure_s / own_s * factor))
    return made


def _by_temperature(target: Target, one: Candidate, pricing: Pricing | None) -> float:
    """What brings the hot pixels of a dark to the lights' temperature: they cost more than the rest."""
    own_c, lights_c = temperature_of(one.set), target.median_c
    if pricing is None or own_c is None or lights_c is None or abs(lights_c - own_c) <= LEAST_OFF_C:
        return 1.0
    return float(2.0 ** ((lights_c - own_c) / pricing.hot_doubling_c))
