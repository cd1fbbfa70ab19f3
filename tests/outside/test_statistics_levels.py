"""Levels against numpy and astropy.stats, and against published values on means, medians and clipping."""

import numpy as np
import pytest
from astropy.stats import mad_std, sigma_clipped_stats

from darklib.pixels import histogram
from darklib.pixels.blocks import CLIPPED_SD, MAD_TO_SIGMA
from darklib.pixels.measure import measure
from darklib.pixels.mosaic import mosaic_of


def levels(data):
    return histogram.levels(histogram.histograms(np.atleast_2d(data).astype(np.uint16), mosaic_of(None, None, None))[0])


def frame(seed):
    """Noise, hot pixels, a few dead ones: what clipping is for."""
    rng = np.random.default_rng(seed)
    data = rng.normal(2048, rng.uniform(0.4, 40), (150, 210))
    hot = rng.random(data.shape) < 0.01
    data[hot] += rng.pareto(1.2, hot.sum()) * 50
    data[rng.random(data.shape) < 0.001] = 0
    return np.clip(np.rint(data), 0, 65535).astype(np.uint16)


@pytest.mark.parametrize("seed", range(6))
def test_clipped_statistics_are_those_of_astropy(seed):
    # astropy.stats.sigma_clipped_stats: 3 sigma about the median, until nothing is cut; population deviation.
    mean, _, sd = sigma_clipped_stats(frame(seed), sigma=3.0, maxiters=None)
    found = levels(frame(seed))
    assert found.mean == pytest.approx(mean, rel=1e-10)
    assert found.sd == pytest.approx(sd, rel=1e-8)


@pytest.mark.parametrize("seed", range(6))
def test_the_median_deviation_is_that_of_astropy(seed):
    assert MAD_TO_SIGMA * levels(frame(seed)).mad == pytest.approx(mad_std(frame(seed)), rel=1e-12)


def test_the_factor_of_the_median_deviation():
    # 1 / Phi^-1(3/4), any table of the normal distribution; astropy.stats.mad_std, documentation.
    assert pytest.approx(1.482602218505602, rel=1e-15) == MAD_TO_SIGMA
    assert MAD_TO_SIGMA * levels([1, 2, 3, 4, 100]).mad == pytest.approx(mad_std([1, 2, 3, 4, 100]), rel=1e-15)


def test_the_mean_of_frames_has_the_noise_of_one_over_the_square_root():
    # CCD handbooks: 10 e- of read noise in 20 frames leave 10/sqrt(20) = 2.236 e- (common practice).
    rng = np.random.default_rng(1)
    stack = rng.normal(1000, 10, (20, 60_000)).mean(axis=0)
    assert levels(np.rint(stack * 50)).sd / CLIPPED_SD / 50 == pytest.approx(2.236, rel=0.01)


def test_a_median_of_five_has_1_1976_times_the_noise_of_a_mean():
    # Exact for a Gaussian by numerical integration of the order statistic; pi/2 is only the limit (value from memory).
    rng = np.random.default_rng(2)
    medians = np.median(rng.normal(1000, 10, (5, 120_000)), axis=0)
    noise = levels(np.rint(medians * 20)).sd / CLIPPED_SD / 20
    assert noise * np.sqrt(5) / 10 == pytest.approx(1.1976, rel=0.01)


@pytest.mark.parametrize("count", range(4, 15))
def test_a_lone_outlier_among_few_values_is_cut_where_astropy_cuts_it(count):
    # About the mean |z| <= sqrt(N-1), so ten values can't be clipped at 3 sigma (Samuelson 1968, "How deviant can you
    # be?", J. Am. Stat. Assoc. 63; value from memory). About the median, as here, a lone outlier has N/sqrt(N-1),
    # which passes 3 between seven values and eight.
    values = np.array([100] * (count - 1) + [60_000])
    mean, _, sd = sigma_clipped_stats(values, sigma=3.0, maxiters=None)
    found = levels(values)
    assert (found.mean, found.sd) == (pytest.approx(mean), pytest.approx(sd))
    assert (found.mean == 100) == (count >= 8)


def test_a_value_right_on_the_limit_is_kept():
    # Of [4, -1, -1, -1, -1] shifted, at 3 sigma nothing lies beyond; astropy keeps a point on the limit.
    values = np.array([14, 9, 9, 9, 9])
    mean, _, sd = sigma_clipped_stats(values, sigma=3.0, maxiters=None)
    assert (levels(values).mean, levels(values).sd) == (pytest.approx(mean), pytest.approx(sd))


def test_clipping_takes_one_and_a_half_percent_off_a_gaussians_deviation():
    # Converged 3 sigma clipping of a Gaussian: 0.984846 (computed; astropy on a million draws 0.98547).
    data = np.random.default_rng(4).normal(30_000, 400, (1000, 1000))
    assert levels(np.rint(data)).sd / 400 == pytest.approx(CLIPPED_SD, rel=0.003)
    assert pytest.approx(0.984846, abs=1e-6) == CLIPPED_SD


@pytest.mark.parametrize("cfa", [None, "RGGB"])
def test_noise_from_neighbours_is_the_robust_deviation_of_a_flat_field_of_noise(cfa):
    data = np.random.default_rng(5).normal(20_000, 200, (300, 300)).round().astype(np.uint16)
    found = measure(data, cfa=cfa, cfa_rows=None, cfa_columns=None, black_dn=None, white_dn=None, bits=None)
    assert found.structure["noise_dn"] == pytest.approx(mad_std(data.astype(float)), rel=0.02)
    assert found.structure["noise_dn"] == pytest.approx(200, rel=0.02)
