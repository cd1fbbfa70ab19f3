"""The law by which dark current grows with temperature: a doubling over a short span, Arrhenius over a wide one.

D(T) = D(T0) 2^((T - T0) / dT2) by weighted least squares on log2 D. Over wide spans D = A T^(3/2) exp(-E / kT), whose
local doubling temperature is ln 2 / (3/(2T) + E/(kT^2)); one number for more than forty degrees is refused, since the
doubling of a real sensor changes by a third over them (Widenhorn et al. 2002, Proc. SPIE 4669; data sheets of two CCD
families give 122 T^3 exp(-6400/T) and 1.14e6 T^3 exp(-9080/T)).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, log2

import numpy as np
from numpy.typing import NDArray

from darklib.facts.sensor import DarkLaw, Value
from darklib.facts.units import KELVIN_AT_ZERO_C

LEAST_SPAN_C = 5.0
"""Darks must span so many degrees before a doubling is fitted."""

WIDE_SPAN_C = 20.0
"""From here on Arrhenius' law is fitted, and the doubling told is that in the middle of the span."""

MOST_SPAN_C = 40.0
"""No single doubling is told over more than this."""

ASSUMED_DOUBLING_C = Value(6.0, 1.0)
"""Until it is measured (physics of silicon near room temperature; published figures lie between 5 and 8)."""

BOLTZMANN_EV = 8.617333262e-5
"""eV per kelvin (CODATA 2018)."""


@dataclass(frozen=True, slots=True)
class Point:
    """Dark current at one temperature: electrons a second, one sigma."""

    temperature_c: float
    rate_e_s: float
    error_e_s: float


def rate_at(law: DarkLaw, temperature_c: float) -> float:
    """Dark current at a temperature by a law, electrons a second."""
    if law.energy_ev is None:
        assert law.doubling_c is not None
        return law.rate_e_s * float(2.0 ** ((temperature_c - law.reference_c) / law.doubling_c.value))
    t, t0 = temperature_c + KELVIN_AT_ZERO_C, law.reference_c + KELVIN_AT_ZERO_C
    falls = law.energy_ev.value / BOLTZMANN_EV * (1.0 / t - 1.0 / t0)
    return float(law.rate_e_s * (t / t0) ** 1.5 * exp(-falls))


def doubling_at(law: DarkLaw, temperature_c: float) -> float:
    """The local doubling temperature of a law, degrees."""
    if law.energy_ev is None:
        assert law.doubling_c is not None
        return float(law.doubling_c.value)
    return local_doubling_c(law.energy_ev.value, temperature_c)


def local_doubling_c(energy_ev: float, temperature_c: float) -> float:
    """Doubling temperature of T^(3/2) exp(-E/kT) at one temperature: ln 2 over the slope of ln D."""
    t = temperature_c + KELVIN_AT_ZERO_C
    return log(2.0) / (1.5 / t + energy_ev / (BOLTZMANN_EV * t * t))


def law_of(points: Sequence[Point]) -> DarkLaw | None:
    """The law of some points; None where fewer than two are above zero or they span less than 5 degrees.

    A rate that does not grow has no law. A point that is 0 with an upper bound cannot stand on a logarithmic scale
    and is left out.
    """
    used = sorted((one for one in points if one.rate_e_s > 0.0), key=lambda one: one.temperature_c)
    if len(used) < 2:
        return None
    low, high = used[0].temperature_c, used[-1].temperature_c
    span = high - low
    if span < LEAST_SPAN_C:
        return None
    if span <= WIDE_SPAN_C or len(used) < 3:
        if span > MOST_SPAN_C:
            return None
        return _doubling(used, low, high)
    return _arrhenius(used, low, high, told=span <= MOST_SPAN_C)


def janesick_e_s(temperature_k: float, area_cm2: float, merit_na_cm2: float) -> float:
    """Dark current of a pixel, electrons a second: 2.55e15 A D T^1.5 exp(-Eg / 2kT), D in nA/cm^2 at 300 K.

    Janesick, Scientific Charge-Coupled Devices (2001), page 622; Eg = 1.1557 - 7.021e-4 T^2 / (1108 + T) eV.
    """
    gap = 1.1557 - 7.021e-4 * temperature_k**2 / (1108.0 + temperature_k)
    activated = exp(-gap / (2.0 * BOLTZMANN_EV * temperature_k))
    return float(2.55e15 * area_cm2 * merit_na_cm2 * temperature_k**1.5 * activated)


def _doubling(used: Sequence[Point], low: float, high: float) -> DarkLaw | None:
    x = np.array([one.temperature_c for one in used])
    y = np.array([log2(one.rate_e_s) for one in used])
    intercept, slope, slope_error, residual, scatter = _line(x, y, used)
    middle = (low + high) / 2.0
    if slope <= 0.0 or slope_error >= slope:
        return None  # a rate that does not grow has no doubling
    told = Value(1.0 / slope, slope_error / slope**2)
    return DarkLaw(
        "doubling", middle, float(2.0 ** (intercept + slope * middle)), told, None, low, high, told.value, told.value,
        tuple(2.0**one - 1.0 for one in residual), scatter,
    )  # fmt: skip


def _arrhenius(used: Sequence[Point], low: float, high: float, *, told: bool) -> DarkLaw | None:
    t = np.array([one.temperature_c + KELVIN_AT_ZERO_C for one in used])
    y = np.array([log2(one.rate_e_s) for one in used]) - 1.5 * np.log2(t)
    x = -1.0 / (BOLTZMANN_EV * t) / log(2.0)
    intercept, slope, slope_error, residual, scatter = _line(x, y, used)
    if slope <= 0.0 or slope_error >= slope:
        return None
    middle = (low + high) / 2.0
    m = middle + KELVIN_AT_ZERO_C
    rate = 2.0 ** (intercept + slope * (-1.0 / (BOLTZMANN_EV * m) / log(2.0))) * m**1.5
    doubling = None
    if told:
        centre = local_doubling_c(slope, middle)
        doubling = Value(centre, abs(local_doubling_c(slope + slope_error, middle) - centre))
    return DarkLaw(
        "arrhenius", middle, float(rate), doubling, Value(slope, slope_error), low, high,
        local_doubling_c(slope, low), local_doubling_c(slope, high),
        tuple(2.0**one - 1.0 for one in residual), scatter,
    )  # fmt: skip


def _line(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    used: Sequence[Point],
) -> tuple[float, float, float, list[float], float]:
    """Intercept, slope, its error (widened by the scatter of the points), residuals, scatter."""
    relative = np.array([max(one.error_e_s / one.rate_e_s, 1e-6) for one in used]) / log(2.0)
    # Never so sure of one point that the others do not count: a hundredth is how well a sensor repeats itself.
    weight = 1.0 / (relative**2 + (0.01 / log(2.0)) ** 2)
    mean = float(np.average(x, weights=weight))
    middle = float(np.average(y, weights=weight))
    square = float((weight * (x - mean) ** 2).sum())
    slope = float((weight * (x - mean) * (y - middle)).sum() / square)
    residual = y - middle - slope * (x - mean)
    scatter = 0.0
    if len(used) > 2:
        scatter = float(np.sqrt((weight * residual**2).sum() / (len(used) - 2)))
    error = square**-0.5 * max(1.0, scatter)
    return middle - slope * mean, slope, error, [float(one) for one in residual], scatter
