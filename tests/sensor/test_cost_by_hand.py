"""The formulas of a price, each on numbers small enough for a pencil."""

from dataclasses import replace
from math import inf, isclose, log, pi, sqrt

import pytest

from darklib.facts.match import Verdict
from darklib.facts.sensor import DarkRates
from darklib.facts.settings import PriceLimits
from darklib.sensor.cost import DarkSet, Lights, Price, Sensor, exact_set, middle, over_temperatures, price
from darklib.sensor.cost_flats import flat_cost, flat_residual
from darklib.sensor.cost_noise import median_factor, reading_variance, set_variance
from darklib.sensor.cost_pointing import dithered, fixed, fixed_with_hot, hot_left, lights_factor, sharing
from darklib.sensor.cost_rates import Rates, rates_of
from darklib.sensor.cost_verdict import verdict_of

# One in a hundred pixels is hot; everything doubles every 6 degrees, hot pixels every 8.
RATES = Rates(0.0, (0.1, 10.0), (0.99, 0.01), 1, 6.0, 8.0)
SENSOR = Sensor(3.0, sqrt(12.0), RATES)
"""Read noise 3 e-, and a step whose rounding has a variance of 1 e-^2: one reading has 10 e-^2."""


def test_reading_and_rounding() -> None:
    assert reading_variance(3.0, sqrt(12.0)) == pytest.approx(10.0)


def test_a_set_of_twenty() -> None:
    # (10 + 20) / 20
    assert set_variance(20.0, 10.0, 20) == pytest.approx(1.5)
    # Scaled by 2, the bias from 50 frames: 4 x 30 / 20 + 1 x 10 / 50
    assert set_variance(20.0, 10.0, 20, scale=2.0, biases=50) == pytest.approx(6.2)
    # By the median the variance is that factor larger.
    assert set_variance(20.0, 10.0, 20, median=True) == pytest.approx(1.5 * median_factor(20))


def test_rates_follow_two_laws() -> None:
    assert RATES.at(6.0)[0] == pytest.approx(0.2)
    assert RATES.at(8.0)[1] == pytest.approx(20.0)


def test_places_share_errors() -> None:
    assert sharing((12,)) == 12.0
    assert sharing((1,) * 12) == 1.0
    assert sharing((2, 2)) == 2.0


def test_fixed_and_dithered_sums() -> None:
    r, m, v, shares = (0.0, 100.0), (1.0, 3.0), (100.0, 300.0), (0.9, 0.1)
    # All pixels: (0.9 x 1 + 0.1 x 10003) / (0.9 x 100 + 0.1 x 300)
    assert dithered(r, m, v, shares) == pytest.approx(1001.2 / 120.0)
    # Beyond 5 x 10 the second bin is left out: 12 x 1 / 100.
    assert fixed(r, m, v, shares, 10.0, 12.0) == pytest.approx(0.12)
    assert hot_left(r, shares, 10.0) == pytest.approx(100_000.0)
    # With sigma 20 it stays within: 12 x 1001.2 / 120.
    assert fixed(r, m, v, shares, 20.0, 12.0) == pytest.approx(100.12)
    assert fixed(r, m, v, (0.0, 1.0), 10.0, 12.0) == inf
    # For comparing sets the hot pixel counts as 50: 12 x (0.9 x 1 + 0.1 x 2503) / 120.
    assert fixed_with_hot(r, m, v, shares, 10.0, 12.0) == pytest.approx(25.12)


def test_what_wins_a_cost_back() -> None:
    assert lights_factor(0.25, fixed_pointing=False) == 1.25
    assert lights_factor(0.2, fixed_pointing=True) == pytest.approx(1.25)
    assert lights_factor(1.0, fixed_pointing=True) is None


def test_an_exact_set_leaves_its_noise_only() -> None:
    lights = Lights(100.0, 0.0, 10, 1.0)
    told = price(SENSOR, lights, DarkSet(100.0, 0.0, 20), kappa=None)
    # Sets: (10 + 10) / 20 and (10 + 1000) / 20; lights: 10 + 110 and 10 + 1100.
    set_mean, light_mean = 0.99 * 1.0 + 0.01 * 50.5, 0.99 * 120.0 + 0.01 * 1110.0
    assert told.dithered == pytest.approx(set_mean / light_mean)
    assert told.fixed == pytest.approx(10 * set_mean / light_mean)
    assert told.hot_left_per_megapixel == 0.0
    assert told.level_error_e == pytest.approx(0.0, abs=1e-9)


def test_no_dark_leaves_the_dark_current() -> None:
    lights = Lights(100.0, 0.0, 10, 1.0)
    told = price(SENSOR, lights, None, kappa=None)
    # Median pixel: 10 e-; the hot ones 990 e- above it, far beyond 5 sqrt(120).
    assert told.level_error_e == pytest.approx(middle([10.0, 1000.0], (0.99, 0.01)))
    assert told.hot_left_per_megapixel == pytest.approx(10_000.0)
    assert told.dithered > price(SENSOR, lights, DarkSet(100.0, 0.0, 20), kappa=None).dithered


def test_a_held_level_leaves_no_error() -> None:
    held = Sensor(3.0, 1.0, RATES, level_held=True)
    lights = Lights(100.0, 0.0, 10, 1.0)
    assert price(held, lights, DarkSet(100.0, 5.0, 20)).level_error_e == 0.0
    assert price(SENSOR, lights, DarkSet(100.0, 5.0, 20)).level_error_e < 0.0


def test_what_is_saturated_holds_no_more() -> None:
    full = Sensor(3.0, 1.0, RATES, full_well_e=500.0)
    lights = Lights(100.0, 0.0, 10, 1.0)
    exact = price(full, lights, exact_set(lights, 20), kappa=None)
    # The hot pixel ends at 500 in light and dark: light 500 - 100 of sky, dark 500. 100 e- lack.
    assert exact.hot_left_per_megapixel == pytest.approx(10_000.0)


def test_a_scaled_set_fits_where_the_factor_is_right() -> None:
    lights = Lights(100.0, 0.0, 10, 1.0)
    half = price(SENSOR, lights, DarkSet(50.0, 0.0, 20, 2.0, 50), kappa=None)
    whole = price(SENSOR, lights, DarkSet(100.0, 0.0, 20), kappa=None)
    assert half.hot_left_per_megapixel == 0.0
    assert half.dithered > whole.dithered


def test_flats_cost_their_noise_and_their_shadows() -> None:
    # (1000)^2 x (1/400000 + 0.001^2) / 1100 = 3.5 / 1100
    assert flat_cost(1000.0, 1100.0, 400_000.0, 0.001) == pytest.approx(3.5 / 1100.0)
    assert flat_cost(1000.0, 1100.0, 400_000.0, 0.001, 20.0) == pytest.approx(70.0 / 1100.0)


def test_a_level_error_becomes_false_vignetting() -> None:
    # 5 e- of 1000 behind corners 30 percent darker: 0.5 % x 0.3 / 0.7
    assert flat_residual(-5.0, 1000.0, 0.3) == pytest.approx(0.005 * 3.0 / 7.0)
    assert flat_residual(0.0, 0.0) == 0.0
    assert flat_residual(1.0, 0.0) == inf


def _verdict(q: float, *, fixed_pointing: bool = False, hot: float = 0.0, residual: float = 0.0) -> Verdict:
    limits = PriceLimits()
    return verdict_of(q, 0.01, 3.0, hot, residual, fixed_pointing=fixed_pointing, limits=limits).verdict


def test_verdicts_at_their_limits() -> None:
    assert [_verdict(q) for q in (0.06, 0.0601, 0.26, 0.2601)] == [
        Verdict.GOOD, Verdict.USABLE, Verdict.USABLE, Verdict.POOR,
    ]  # fmt: skip
    assert [_verdict(q, fixed_pointing=True) for q in (0.26, 0.2601, 1.01, 1.0101)] == [
        Verdict.GOOD, Verdict.USABLE, Verdict.USABLE, Verdict.POOR,
    ]  # fmt: skip
    assert [_verdict(0.0, hot=hot) for hot in (150.0, 151.0, 1000.0, 1001.0)] == [
        Verdict.GOOD, Verdict.USABLE, Verdict.USABLE, Verdict.POOR,
    ]  # fmt: skip
    assert [_verdict(0.0, residual=share) for share in (0.005, 0.0051, 0.02, 0.0201)] == [
        Verdict.GOOD, Verdict.USABLE, Verdict.USABLE, Verdict.POOR,
    ]  # fmt: skip


def test_what_costs_more_than_no_dark_is_poor() -> None:
    found = verdict_of(0.04, 0.01, 0.03, 0.0, 0.0, fixed_pointing=False, limits=PriceLimits())
    assert (found.verdict, found.worse_than_none) == (Verdict.POOR, True)


def test_limits_can_be_set() -> None:
    limits = PriceLimits(good_dithered_percent=1.0)
    assert verdict_of(0.03, 0.01, 1.0, 0.0, 0.0, fixed_pointing=False, limits=limits).verdict is Verdict.USABLE


def test_several_temperatures_are_averaged() -> None:
    a, b = (Price(q, q / 10, None, 1.0, 100 * q, q, 10.0, q) for q in (0.2, 0.4))
    both = over_temperatures([a, b])
    assert both.fixed == pytest.approx(0.3)
    assert both.dithered == pytest.approx(0.03)
    assert both.factor_fixed == pytest.approx(1.0 / 0.7)


def test_a_histogram_is_thinned_without_losing_electrons() -> None:
    rates = tuple(0.01 * 1.01**number for number in range(1000))
    pixels = tuple(1000 - number for number in range(1000))
    thin = rates_of(DarkRates(0.0, rates, pixels, rates[800]), 6.0, 7.0)
    total = sum(pixels)
    assert len(thin.shares) < 120
    assert isclose(sum(thin.shares), 1.0)
    for power, tolerance in ((1, 1e-9), (2, 0.02)):
        whole = sum(rate**power * count for rate, count in zip(rates, pixels, strict=True)) / total
        kept = sum(rate**power * share for rate, share in zip(thin.rates_e_s, thin.shares, strict=True))
        assert kept == pytest.approx(whole, rel=tolerance)
    assert sum(thin.shares[thin.first_hot :]) == pytest.approx(sum(pixels[800:]) / total)


def test_a_histogram_without_pixels_is_refused() -> None:
    with pytest.raises(ValueError, match="without a pixel"):
        rates_of(DarkRates(0.0, (1.0,), (0,), 2.0), 6.0, 7.0)


def test_the_median_factor_ends_at_half_pi() -> None:
    assert median_factor(1_000_001) == pytest.approx(pi / 2, rel=1e-5)
    # Where the table ends the series goes on.
    assert median_factor(41) == pytest.approx(1.5543, abs=3e-4)
    assert median_factor(42) == pytest.approx(1.5206, abs=1e-3)


def test_hot_pixels_of_other_laws_stay_behind_when_a_set_is_warmed() -> None:
    # One doubling of the hot pixels (8 degrees): ln 2 x 0.1 of 1000 e- stays on a hundredth of the pixels.
    lights = Lights(100.0, 0.0, 10, 1.0)
    plain = DarkSet(100.0, -8.0, 20, 2.0, 50)
    one_law = replace(SENSOR, rates=replace(RATES, doubling_c=8.0))
    told = [price(one_law, lights, replace(plain, law_scatter=scatter), kappa=None).dithered for scatter in (0.0, 0.1)]
    light_mean = 0.99 * 120.0 + 0.01 * 1110.0
    # The median of two bins is interpolated: a hundredth of the way to the hot one.
    left = log(2.0) * 100.0
    mean = 0.99 * (0.01 * left) ** 2 + 0.01 * (0.99 * left) ** 2
    assert told[1] - told[0] == pytest.approx(mean / light_mean, rel=1e-3)
