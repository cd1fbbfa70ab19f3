"""Prices and exposures against what others publish and compute."""

from math import sqrt

import ccdproc
import numpy as np
import pytest
from astropy import units
from astropy.nddata import CCDData
from astropy.stats import signal_to_noise_oir_ccd
from scipy import integrate, stats

from darklib.sensor.cost import DarkSet, Lights, Sensor, price
from darklib.sensor.cost_noise import median_factor, set_variance
from darklib.sensor.cost_rates import Rates
from darklib.sensor.cost_rejection import clipped_variance, loss, scatter
from darklib.sensor.exposure import lights_for, signal_to_noise, sub_exposure_s, tone_curved


def test_mean_of_twenty_readings() -> None:
    """Astropy CCD Data Reduction Guide (Craig & Chambers), combination: read noise 10 e-, 20 frames: 2.2 e-."""
    assert sqrt(set_variance(0.0, 100.0, 20)) == pytest.approx(2.236, abs=0.001)


# Finite N, sigma of the median times sqrt(N) over sigma: exact order statistics, and of an infinite one sqrt(pi / 2)
# (a textbook result; David & Nagaraja, Order Statistics, section 9.2, value from memory).
SIGMA_OF_MEDIAN = {
    3: 1.1602,
    5: 1.1976,
    7: 1.2137,
    9: 1.2227,
    11: 1.2283,
    15: 1.2351,
    21: 1.2403,
    25: 1.2424,
    51: 1.2480,
    101: 1.2506,
}


@pytest.mark.parametrize(("count", "factor"), SIGMA_OF_MEDIAN.items())
def test_median_of_few(count: int, factor: float) -> None:
    assert sqrt(median_factor(count)) == pytest.approx(factor, abs=2e-4)


@pytest.mark.parametrize("count", [3, 9, 21])
def test_median_by_scipy_of_odd_numbers(count: int) -> None:
    """The middle one of an odd number is beta distributed in its probability (scipy's own beta and normal)."""
    half = (count + 1) / 2
    found, _ = integrate.quad(lambda p: stats.norm.ppf(p) ** 2 * stats.beta.pdf(p, half, half), 0.0, 1.0)
    assert median_factor(count) == pytest.approx(found * count, rel=1e-4)


@pytest.mark.parametrize("count", [4, 10, 20])
def test_median_by_numpy_of_even_numbers(count: int) -> None:
    values = np.random.default_rng(3).standard_normal((200_000, count))
    found = float(np.median(values, axis=1).var()) * count
    assert median_factor(count) == pytest.approx(found, rel=4 * sqrt(2 / 200_000))


def test_signal_to_noise_of_a_worked_example() -> None:
    """Howell, Handbook of CCD Astronomy (2000), pages 56 to 57: S/N 342."""
    gain, dark_e = 5.0, 22.0 * 300.0 / 3600.0
    found = signal_to_noise(
        24013 * gain, 620 * gain, dark_e, 5.0, pixels=1.0, background_pixels=200.0, step_e=gain, rounding=0.289
    )
    assert found == pytest.approx(342.05, abs=0.01)


def test_signal_to_noise_by_astropy() -> None:
    """astropy.stats.signal_to_noise_oir_ccd: no background estimate, no rounding."""
    theirs = signal_to_noise_oir_ccd(300.0, 24013 * 5 / 300, 620 * 5 / 300, 22 / 3600, 5.0, 1)
    assert signal_to_noise(24013 * 5.0, 620 * 5.0, 22 / 12, 5.0) == pytest.approx(float(theirs), rel=1e-12)
    theirs = signal_to_noise_oir_ccd(60.0, 20.0, 3.0, 0.1, 8.0, 25.0)
    assert signal_to_noise(1200.0, 180.0, 6.0, 8.0, pixels=25.0) == pytest.approx(float(theirs), rel=1e-12)


def test_an_exposure_time_of_a_space_camera() -> None:
    """ACS Instrument Handbook 9.6.1: 0.4222 e-/s over 116 pixels, S/N 10, 4172 s in one reading with sky and dark
    0.0547 e-/s (which the example does not print and these figures imply); in four readings about 1.20 times as long.
    """

    def found(seconds: float, readings: int) -> float:
        one = seconds / readings
        of_one = signal_to_noise(0.42217 * one, 0.0525 * one, 0.0022 * one, 5.0, pixels=116.0)
        return of_one * sqrt(readings)

    assert found(4172.0, 1) == pytest.approx(10.0, abs=0.02)
    assert found(4172.0 * 1.2138, 4) == pytest.approx(10.0, abs=0.02)
    assert lights_for(10.0, found(1043.0, 1)) == pytest.approx((10.0 / found(1043.0, 1)) ** 2)


def test_a_reading_may_add_five_percent() -> None:
    """At that exposure the noise with reading is 1.05 times that without: the definition, put in again."""
    seconds = sub_exposure_s(2.0, 6.0)
    assert seconds is not None
    assert sqrt(2.0 * seconds + 36.0) == pytest.approx(1.05 * sqrt(2.0 * seconds))
    assert sub_exposure_s(0.0, 6.0) is None


@pytest.mark.parametrize(("linear", "shown"), [(0.0, 0.0), (0.0031308, 0.04045), (0.21404, 0.5), (1.0, 1.0)])
def test_tone_curve(linear: float, shown: float) -> None:
    """IEC 61966-2-1: the knee at 0.0031308 and 0.04045; half of the axis is 0.21404 of the light."""
    assert tone_curved(linear) == pytest.approx(shown, abs=2e-5)


def test_subtraction_and_scaling_by_ccdproc(monkeypatch: pytest.MonkeyPatch) -> None:
    """ccdproc.subtract_dark: a dark of 30 at 30 s is taken off a light of 100 at 60 s: 40 scaled, 70 not. The price's
    residual is the same difference: nothing is left of a dark current of 1 a second scaled by 2, and 30 unscaled.
    """
    for name in ("XDG_CONFIG_HOME", "XDG_CACHE_HOME"):  # astropy wants folders that are there
        monkeypatch.delenv(name)
    light = CCDData(np.full((2, 2), 100.0), unit="adu")
    dark = CCDData(np.full((2, 2), 30.0), unit="adu")
    answers = [
        ccdproc.subtract_dark(light, dark, dark_exposure=30 * units.s, data_exposure=60 * units.s, scale=scale).data[
            0, 0
        ]
        for scale in (True, False)
    ]
    sensor = Sensor(0.0, 0.0, Rates(0.0, (1.0,), (1.0,), 1, 6.0, 6.0))
    lights = Lights(60.0, 0.0, 4, 40.0 / 60.0)
    left = [price(sensor, lights, DarkSet(30.0, 0.0, 1000, k, 1000)).level_error_e for k in (2.0, 1.0)]
    assert answers == [40.0, 70.0]
    assert [40.0 + error for error in left] == pytest.approx(answers)


SHARES, LIGHT, SET, LEFT = (0.97, 0.02, 0.01), (100.0, 120.0, 400.0), (5.0, 6.0, 20.0), (0.0, 25.0, 300.0)


@pytest.mark.parametrize(("count", "places"), [(15, 150_000), (40, 60_000)])
def test_rejection_against_stacks_by_chance(count: int, places: int) -> None:
    """Numerical stacks: each value from a pixel by chance, rejection by median and median deviation at 3 sigma."""
    rng = np.random.default_rng(7)
    which = rng.choice(3, size=(places, count), p=SHARES)
    light = rng.standard_normal((places, count)) * np.sqrt(LIGHT)[which]
    ours = light + rng.standard_normal((places, count)) * np.sqrt(SET)[which] + np.array(LEFT)[which]
    found = _stacked(ours) / _stacked(light) - 1.0
    nothing = (0.0,) * 3
    told = (
        clipped_variance(LEFT, SET, LIGHT, SHARES, count) / clipped_variance(nothing, nothing, LIGHT, SHARES, count)
        - 1.0
    )
    assert told == pytest.approx(found, rel=0.1)


@pytest.mark.parametrize("count", [12, 22, 45])
def test_rejection_costs_something_itself(count: int) -> None:
    values = np.random.default_rng(11).standard_normal((100_000, count))
    assert loss(count) == pytest.approx(_stacked(values) * count, rel=0.02)


def test_scatter_by_numpy() -> None:
    rng = np.random.default_rng(13)
    which = rng.choice(3, size=400_000, p=SHARES)
    values = rng.standard_normal(400_000) * np.sqrt(LIGHT)[which] + np.array(LEFT)[which]
    bins = [(r, sqrt(v), s) for r, v, s in zip(LEFT, LIGHT, SHARES, strict=True)]
    assert scatter(bins) == pytest.approx(1.4826 * float(np.median(np.abs(values))), rel=0.01)


def test_dithered_and_fixed_against_pixels_by_chance() -> None:
    """200,000 pixels of two rates, 16 lights, a set of 8 darks 4 degrees too warm: variances of real stacks."""
    rng = np.random.default_rng(17)
    rates = np.full(200_000, 0.2)
    rates[:400] = 4.0
    sensor = Sensor(5.0, 1.0, Rates(0.0, (0.2, 4.0), (0.998, 0.002), 1, 6.0, 6.0))
    lights, dark = Lights(100.0, 0.0, 16, 0.5), DarkSet(100.0, 4.0, 8)
    per = np.sqrt(25.0 + 1 / 12)
    combined = rng.poisson(rates * 2 ** (4 / 6) * 800.0) / 8.0 + rng.standard_normal(rates.size) * per / sqrt(8)
    error = combined - rates * 100.0
    error -= np.median(error)
    stack = (rng.poisson((rates + 0.5) * 1600.0) / 16 - (rates + 0.5) * 100) + rng.standard_normal(rates.size) * per / 4
    kept = np.abs(rates - rates.min()) < 1.0
    told = price(sensor, lights, dark, kappa=None)
    assert told.fixed == pytest.approx(np.mean((stack - error)[kept] ** 2) / np.var(stack[kept]) - 1.0, rel=0.05)
    # Dithered each place has 16 pixels' errors: their mean square over 16 against the lights' noise over 16.
    assert told.dithered == pytest.approx(np.mean(error**2) / (16 * np.var(stack)), rel=0.05)


def _stacked(values: "np.ndarray[tuple[int, int], np.dtype[np.float64]]") -> float:
    middle = np.median(values, axis=1, keepdims=True)
    off = np.abs(values - middle)
    kept = off <= 3 * 1.4826 * np.median(off, axis=1, keepdims=True)
    return float(((values * kept).sum(axis=1) / kept.sum(axis=1)).var())
