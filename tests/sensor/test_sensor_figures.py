"""Gain, noise, dark current and odd frames from simulated sets: the truth lies within the stated errors."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from darklib.facts.sensor import Value
from darklib.pixels.mosaic import MONO, mosaic_of
from darklib.sensor.dark_current import currents_of
from darklib.sensor.dark_law import Point, law_of, rate_at
from darklib.sensor.dark_rates import dark_rates
from darklib.sensor.dark_set import DarkSet, dark_set, excess_at
from darklib.sensor.photon_transfer import FlatPair, gain_of, read_noise
from darklib.sensor.pile import core_variance, levels_of, pile_of

SHAPE = (96, 144)
GAIN = 0.5


def numbers(electrons: np.ndarray) -> np.ndarray:
    return np.clip(np.rint(electrons / GAIN + 400.0), 0, 65535).astype(np.uint16)


def readings(rng: np.random.Generator, expected_e: np.ndarray, count: int, noise_e: float = 3.0) -> list[np.ndarray]:
    return [numbers(rng.poisson(expected_e) + noise_e * rng.standard_normal(SHAPE)) for _ in range(count)]


def test_a_pile_is_mean_and_variance_of_each_pixel() -> None:
    rng = np.random.default_rng(1)
    frames = [np.rint(500 + 8 * rng.standard_normal(SHAPE)).astype(np.uint16) for _ in range(7)]
    pile = pile_of(frames, MONO)
    stack = np.stack(frames).astype(float)
    assert pile.mean_dn == pytest.approx(stack.mean(axis=0), abs=1e-3)
    # Each frame's own level is taken off before the variance: numpy, the same by hand.
    levels = np.array([one.mean_dn for one in pile.levels])
    assert pile.variance_dn2 == pytest.approx((stack - levels[:, None, None]).var(axis=0, ddof=1), rel=1e-3, abs=1e-3)


@pytest.mark.parametrize("count", [2, 3, 5, 20])
def test_the_core_variance_is_unbiased_and_heeds_no_cosmic_rays(count: int) -> None:
    rng = np.random.default_rng(count)
    frames = [np.rint(900 + 20 * rng.standard_normal(SHAPE)).astype(np.uint16) for _ in range(count)]
    for frame in frames:
        frame[rng.integers(0, SHAPE[0], 12), rng.integers(0, SHAPE[1], 12)] += 3000
    variance = core_variance(pile_of(frames, MONO))
    assert variance is not None
    assert abs(variance[0] - (400.0 + 1 / 12)) < 4.0 * variance[1]
    assert variance[1] < 0.02 * 400.0


def test_a_clipped_black_ends_in_a_pile_and_an_honest_one_thins_out() -> None:
    rng = np.random.default_rng(2)
    for offset, sd, clipped in ((20.0, 10.0, True), (2.0, 1.0, True), (60.0, 10.0, False), (200.0, 0.6, False)):
        data = np.clip(np.rint(offset + sd * rng.standard_normal(SHAPE)), 0, 65535).astype(np.uint16)
        assert levels_of(data, MONO).low_piles is clipped, (offset, sd)


def test_a_variance_that_is_mostly_rounding_says_nothing_of_the_noise() -> None:
    assert read_noise(0.2 * 16, 0.01, Value(1.0), 4.0) == (None, None)
    noise_dn, noise_e = read_noise(25.0 + 16 / 12, 0.1, None, 4.0)
    assert noise_e is None
    assert noise_dn is not None
    assert noise_dn.value == pytest.approx(5.0)


@given(st.floats(0.05, 5.0), st.lists(st.floats(100.0, 40_000.0), min_size=1, max_size=8))
def test_gain_from_any_levels_on_the_line(gain: float, signals: list[float]) -> None:
    found = gain_of([FlatPair("", signal, signal / gain, 0.01 * signal / gain) for signal in signals])
    assert found is not None
    assert found.e_per_dn.value == pytest.approx(gain, rel=1e-9)


def test_full_well_is_where_flats_leave_the_line_or_pile_up() -> None:
    signals = [1000.0, 5000.0, 10_000.0, 20_000.0, 25_000.0, 30_000.0]
    bent = [FlatPair("", s, s * (1.0 if s <= 20_000 else 0.5), 0.005 * s) for s in signals]
    found = gain_of(bent)
    assert found is not None
    assert (found.linear_dn, found.saturation_dn) == (20_000.0, None)
    piled = [FlatPair("", s, s * (1.0 if s < 30_000 else 0.1), 0.005 * s, 0.0 if s < 30_000 else 0.4) for s in signals]
    found = gain_of(piled, 30_500.0)
    assert found is not None
    assert found.saturation_dn == 30_500.0
    assert found.e_per_dn.value == pytest.approx(1.0, rel=1e-6)
    faint = gain_of([FlatPair("", s, s, 0.005 * s) for s in signals[:3]])
    assert faint is not None
    assert (faint.linear_dn, faint.saturation_dn) == (None, None)


def one_dark(rng: np.random.Generator, rates: np.ndarray, exposure_s: float, temperature_c: float) -> DarkSet:
    zero = pile_of(readings(rng, np.zeros(SHAPE), 20), MONO)
    dark = readings(rng, rates * exposure_s, 12)
    return dark_set(
        "dark", pile_of(dark, MONO), zero, exposure_s=exposure_s, temperature_c=temperature_c, night=None,
        rows_of_band=12, e_per_dn=GAIN, frames=dark,
    )  # fmt: skip


def test_the_spread_of_a_sensor_has_the_frames_own_noise_taken_off() -> None:
    rng = np.random.default_rng(3)
    rates = 0.05 * np.exp(0.3 * rng.standard_normal(SHAPE))
    one = one_dark(rng, rates, 300.0, -10.0)
    low, high = np.quantile(rates, (0.158655, 0.841345))
    truth = (high - low) / 2.0 * 300.0 / GAIN
    # Left in, the noise would be as large as the spread itself.
    assert one.noise_dn > 0.3 * truth
    assert abs(one.spread_dn.value - truth) < 3.0 * (one.spread_dn.error or 0.0)
    assert one.level_dn.value == pytest.approx(0.05 * 300.0 / GAIN, rel=0.02)


def test_what_is_not_significant_is_nothing_with_an_upper_bound() -> None:
    rng = np.random.default_rng(4)
    one = one_dark(rng, np.full(SHAPE, 1e-6), 60.0, -20.0)
    assert one.spread_dn.value == 0.0
    assert one.spread_dn.error is not None
    assert one.spread_dn.error > 0.0
    (current,) = currents_of([one], Value(GAIN, 0.001), held=False)
    assert current.median_e_s.value == 0.0
    assert current.median_e_s.error is not None
    assert 2.0 * current.median_e_s.error * 60.0 < 3.0  # less than the read noise of one frame
    assert law_of([Point(-20.0, 0.0, 0.1), Point(0.0, 1.0, 0.1)]) is None


def test_hot_pixels_are_counted_and_blinking_ones_told() -> None:
    rng = np.random.default_rng(5)
    rates = np.full(SHAPE, 0.02)
    hot = rng.choice(rates.size, 60, replace=False)
    rates.ravel()[hot] += 1.0
    zero = pile_of(readings(rng, np.zeros(SHAPE), 12), MONO)
    dark = readings(rng, rates * 120.0, 12)
    blinking = rng.choice(np.setdiff1d(np.arange(rates.size), hot), 5, replace=False)
    for place, frame in enumerate(dark):
        frame.ravel()[blinking] += 400 * (place % 3 == 0)
        frame.ravel()[rng.integers(0, rates.size, 3)] += 2000  # cosmic rays, elsewhere in every frame
    one = dark_set(
        "dark", pile_of(dark, MONO), zero, exposure_s=120.0, temperature_c=0.0, night=None, rows_of_band=12,
        e_per_dn=GAIN, frames=dark,
    )  # fmt: skip
    assert set(hot) <= set(one.hot.tolist())
    assert one.unstable == 5


def test_the_excess_over_neighbours_stays_inside_the_band_and_the_colour() -> None:
    data = np.zeros((24, 12), dtype=np.float32)
    data[12:] = 50.0  # another band
    data[11, 5] = 30.0
    places = np.array([11 * 12 + 5])
    assert excess_at(data, places, 2, 2, 12) == pytest.approx([30.0])
    data[9, 5] = data[11, 3] = data[11, 7] = data[9, 3] = data[9, 7] = 10.0
    assert excess_at(data, places, 2, 2, 12) == pytest.approx([20.0])


@given(
    st.floats(0.0, 5.0), st.floats(0.0, 2.0), st.lists(st.floats(0.01, 500.0), max_size=200), st.integers(1000, 10**7)
)
def test_a_histogram_of_rates_has_every_pixel_and_rises(
    median: float, spread: float, hot: list[float], pixels: int
) -> None:
    made = dark_rates(0.0, median, spread, np.array(hot), pixels)
    assert sum(made.pixels) == pixels
    assert list(made.rates_e_s) == sorted(made.rates_e_s)
    assert len(made.rates_e_s) == len(made.pixels)
    assert sum(n for rate, n in zip(made.rates_e_s, made.pixels, strict=True) if rate >= made.hot_from_e_s) == len(hot)


def test_the_bulk_of_the_histogram_is_the_lognormal() -> None:
    made = dark_rates(0.0, 0.2, 0.2 * float(np.sinh(0.3)), np.zeros(0), 1_000_000)
    mean = np.average(made.rates_e_s, weights=made.pixels)
    assert mean == pytest.approx(0.2 * np.exp(0.045), rel=0.005)


def test_a_law_needs_five_degrees_and_growth() -> None:
    assert law_of([Point(0.0, 1.0, 0.01), Point(4.0, 1.6, 0.01)]) is None
    assert law_of([Point(0.0, 1.0, 0.01), Point(10.0, 0.9, 0.01)]) is None
    law = law_of([Point(t, 0.1 * 2 ** (t / 6.5), 1e-3 * 2 ** (t / 6.5)) for t in (0.0, 5.0, 12.0)])
    assert law is not None
    assert law.doubling_c is not None
    assert law.doubling_c.value == pytest.approx(6.5, abs=1e-6)
    assert rate_at(law, 6.5) == pytest.approx(0.2, rel=1e-6)


def test_colours_are_told_apart() -> None:
    rng = np.random.default_rng(8)
    mosaic = mosaic_of("RGGB", 2, 2)
    frames = readings(rng, np.zeros(SHAPE), 4)
    for frame in frames:
        frame[1::2, 1::2] += 7
    levels = pile_of(frames, mosaic).colour_levels_dn()
    assert levels - levels[0] == pytest.approx([0.0, 0.0, 7.0], abs=0.5)
