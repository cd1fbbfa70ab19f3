"""Dark current at each temperature from the sets of darks, and the hot pixels' own law."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from darklib.facts.sensor import DarkCurrent, Value
from darklib.pixels.mosaic import Mosaic
from darklib.sensor.dark_set import DarkSet, excess_at

TOGETHER_C = 1.0
"""Sets within one degree are told as one temperature."""

HOT_LEAST_SPAN_C = 4.0
HOT_LEAST = 10
HOT_SIGMA = 10.0

TEMPERATURE_ERROR_C = 0.3
"""How well a recorded temperature holds between two sets (common practice, no single source)."""


def currents_of(darks: Sequence[DarkSet], gain: Value | None, *, held: bool) -> tuple[DarkCurrent, ...]:
    """Dark current by temperature, coldest first. gain: electrons per DN. held: the level tells nothing, the noise
    does.
    """
    if gain is None:
        return ()
    known = sorted((one for one in darks if one.temperature_c is not None), key=lambda one: one.temperature_c or 0.0)
    groups: list[list[DarkSet]] = []
    for one in known:
        if groups and (one.temperature_c or 0.0) - (groups[-1][0].temperature_c or 0.0) <= TOGETHER_C:
            groups[-1].append(one)
        else:
            groups.append([one])
    made = [_current(group, gain, held) for group in groups]
    return tuple(one for one in made if one is not None)


def _current(group: Sequence[DarkSet], gain: Value, held: bool) -> DarkCurrent | None:
    told = [(rate, one) for one in group if (rate := _rate(one, gain, held)) is not None]
    if not told:
        return None
    median = _mean([rate for rate, _ in told])
    # Sets measured against the same biases, with one gain, err together in these.
    shared = [0.0 if held else one.shared_dn * gain.value / one.exposure_s for _, one in told]
    relative = (2.0 if held else 1.0) * (gain.error or 0.0) / gain.value
    weights = [max(rate.error or 0.0, 1e-12) ** -2 for rate, _ in told]
    common = float(np.average(shared, weights=weights))
    median = Value(
        median.value, float(np.sqrt((median.error or 0.0) ** 2 + common**2 + (median.value * relative) ** 2))
    )
    spread = _mean([_per_second(one.spread_dn, one, gain) for one in group])
    # The set whose pixels stand out best from the noise tells the tail.
    best = max(group, key=lambda one: one.exposure_s / max(one.noise_dn, 1e-9))
    tail = None
    if best.tail_dn > 4.0 * best.noise_dn:
        tail = Value(_significant(median).value + best.tail_dn * gain.value / best.exposure_s, None)
    return DarkCurrent(
        temperature_c=float(np.average([one.temperature_c for one in group], weights=[one.frames for one in group])),
        median_e_s=_significant(median),
        spread_e_s=spread,
        tail_e_s=tail,
        frames=sum(one.frames for one in group),
    )


def _rate(one: DarkSet, gain: Value, held: bool) -> Value | None:
    """Electrons a second of the median pixel; the error is this set's own, without what it shares with others."""
    if not held:
        factor = gain.value / one.exposure_s
        own = max((one.level_dn.error or 0.0) ** 2 - one.shared_dn**2, 0.0) ** 0.5
        return Value(one.level_dn.value * factor, own * factor)
    if one.excess_dn2 is None:
        return None
    # Variance in DN^2 times the gain squared is electrons; of the mean pixel, since variances were averaged. Of a
    # lognormal the median is less: mean / sqrt(1 + (sd / mean)^2), where the robust width stands for sd.
    factor = gain.value**2 / one.exposure_s
    mean_dn = one.excess_dn2.value * gain.value
    if 0.0 < one.spread_dn.value < mean_dn:
        factor /= float(np.exp(np.arcsinh(one.spread_dn.value / mean_dn) ** 2 / 2.0))
    return Value(one.excess_dn2.value * factor, (one.excess_dn2.error or 0.0) * factor)


def _per_second(figure: Value, one: DarkSet, gain: Value) -> Value:
    factor = gain.value / one.exposure_s
    relative = (gain.error or 0.0) / gain.value
    return Value(
        figure.value * factor, float(np.hypot((figure.error or 0.0) * factor, figure.value * factor * relative))
    )


def _mean(values: Sequence[Value]) -> Value:
    """Weighted mean; its error is no less than the values scatter."""
    weights = np.array([max(one.error or 0.0, 1e-12) ** -2 for one in values])
    numbers = np.array([one.value for one in values])
    mean = float(np.average(numbers, weights=weights))
    error = float(weights.sum()) ** -0.5
    if len(values) > 1:
        scatter = float(np.sqrt((weights * (numbers - mean) ** 2).sum() / (len(values) - 1)))
        error *= max(1.0, scatter)
    return Value(mean, error)


def _significant(value: Value) -> Value:
    """0 where it is not above twice its error; the error then is half of the upper bound."""
    error = value.error or 0.0
    if value.value > 2.0 * error:
        return value
    return Value(0.0, (max(value.value, 0.0) + 2.0 * error) / 2.0)


def reference_set(darks: Sequence[DarkSet]) -> DarkSet | None:
    """The set whose histogram of rates stands for the sensor: of known temperature, the one that sees faintest rates
    at a temperature other sets can be brought to: the best ratio of dark signal to noise.
    """
    known = [one for one in darks if one.temperature_c is not None]
    return max(known, key=lambda one: (one.exposure_s / max(one.noise_dn, 1e-9), one.name), default=None)


def hot_doubling_of(darks: Sequence[DarkSet], mosaic: Mosaic, rows_of_band: int) -> Value | None:
    """Degrees in which hot pixels double: the median over pixels that stand out in the colder set as well.

    Pixels are chosen by what the warmer set makes expected in the colder one, not by what is found there: else those
    that chance lifts over a limit would be chosen.
    """
    found = []
    for first, second in combinations([one for one in darks if one.temperature_c is not None], 2):
        cold, warm = sorted((first, second), key=lambda one: one.temperature_c or 0.0)
        span = (warm.temperature_c or 0.0) - (cold.temperature_c or 0.0)
        if span < HOT_LEAST_SPAN_C or warm.map_dn.shape != cold.map_dn.shape:
            continue
        ratio = cold.exposure_s / warm.exposure_s
        expected = warm.hot_dn * ratio * 2.0 ** (-span / 6.5)
        chosen = (expected > HOT_SIGMA * cold.noise_dn) & (warm.hot_dn < warm.full_dn)
        places = warm.hot[chosen][:3000]
        if places.size < HOT_LEAST:
            continue
        seen = excess_at(cold.map_dn, places, mosaic.rows, mosaic.columns, rows_of_band)
        times = seen / (warm.hot_dn[chosen][:3000] * ratio)
        steps = -np.log2(np.maximum(times[np.isfinite(times)], 1e-3)) / span
        if steps.size < HOT_LEAST:
            continue
        low, middle, high = np.quantile(steps, (0.158655, 0.5, 0.841345))
        error = 1.2533 * (high - low) / 2.0 / steps.size**0.5
        error = float(np.hypot(error, middle * TEMPERATURE_ERROR_C / span))
        if middle > 0.02:
            found.append(Value(float(middle), error))
    if not found:
        return None
    slope = _mean(found)
    return Value(1.0 / slope.value, (slope.error or 0.0) / slope.value**2)
