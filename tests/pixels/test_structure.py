"""Planted stars, hot pixels, glows and fall-offs must come back as what they are."""

import numpy as np
import pytest

from darklib.pixels.mosaic import mosaic_of
from darklib.pixels.structure import structure

SHAPE = (360, 480)
XTRANS = "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG"
PATTERNS = [None, "RGGB", XTRANS]


def noise(seed=1, level=1000.0, sigma=10.0, shape=SHAPE):
    return np.random.default_rng(seed).normal(level, sigma, shape)


def figures(data, cfa=None):
    return structure(np.clip(np.rint(data), 0, 65535).astype(np.uint16), mosaic_of(cfa, None, None), 0.29)[0]


def star(data, y, x, peak, fwhm):
    down, across = np.mgrid[0 : data.shape[0], 0 : data.shape[1]]
    near = (slice(max(0, int(y) - 20), int(y) + 21), slice(max(0, int(x) - 20), int(x) + 21))
    s = fwhm / 2.3548
    data[near] += peak * np.exp(-0.5 * (((down[near] - y) / s) ** 2 + ((across[near] - x) / s) ** 2))


def radius():
    y, x = np.mgrid[-1 : 1 : SHAPE[0] * 1j, -1 : 1 : SHAPE[1] * 1j]
    return (x * x + y * y) / 2


@pytest.mark.parametrize("cfa", PATTERNS)
def test_noise_alone_shows_nothing(cfa):
    found = figures(noise(), cfa)
    assert found["noise_dn"] == pytest.approx(10, rel=0.02)
    assert found["level_dn"] == pytest.approx(1000, abs=0.3)
    assert found["stars"] == 0
    assert found["hot_pixels"] <= 1
    for name in ("channel_spread_sigma", "uneven_sigma", "rows_sigma", "columns_sigma"):
        assert found[name] < 0.05, name
    for name in ("fall_least_sigma", "fall_mean_sigma", "glow_sigma", "dip_sigma"):
        assert abs(found[name]) < 0.1, name


@pytest.mark.parametrize("cfa", PATTERNS)
@pytest.mark.parametrize("fwhm", [1.5, 2.5, 5.0])
def test_stars_are_counted_as_stars(cfa, fwhm):
    data = noise()
    places = np.random.default_rng(4).uniform(20, 340, (40, 2))
    places = places[[all(np.hypot(*(a - b)) > 14 for b in places[:i]) for i, a in enumerate(places)]]
    for y, x in places:
        star(data, y, x, 400, fwhm)
    found = figures(data, cfa)
    assert len(places) - 1 <= found["stars"] <= len(places) + 1
    assert found["stars_by_chance"] <= 1
    assert found["star_peak_dn"] == pytest.approx(400, rel=0.25)


@pytest.mark.parametrize("cfa", PATTERNS)
def test_hot_pixels_are_no_stars(cfa):
    data = noise()
    rng = np.random.default_rng(5)
    places = rng.random(SHAPE) < 0.002
    data[places] += rng.exponential(300, places.sum()) + 100
    found = figures(data, cfa)
    assert found["stars"] <= 1
    assert found["hot_pixels"] == pytest.approx(places.sum(), rel=0.05)


def test_what_hot_pixels_feign_is_foretold_by_the_control():
    stars = chance = 0.0
    for seed in range(6):
        data = noise(seed)
        rng = np.random.default_rng(seed)
        places = rng.random(SHAPE) < 0.08
        data[places] += rng.exponential(120, places.sum())
        found = figures(data)
        stars, chance = stars + found["stars"], chance + found["stars_by_chance"]
    assert stars > 40
    # two Poisson counts of the same mean
    assert abs(stars - chance) < 4 * (stars + chance) ** 0.5


def test_a_track_of_a_cosmic_ray_is_no_star():
    data = noise()
    for number in range(12):
        data[30 + 25 * number, 100:106] += 500
        data[30 + 25 * number : 36 + 25 * number, 300] += 500
        for step in range(5):
            data[30 + 25 * number + step, 400 + step] += 500
    assert figures(data)["stars"] == 0


def test_charge_that_leaks_from_a_saturated_pixel_makes_no_star():
    data = noise()
    for y in range(30, 340, 30):
        for x in range(30, 460, 30):
            data[y, x] += 60000
            for dy, dx in ((-1, 0), (1, 0), (0, -1), (0, 1)):
                data[y + dy, x + dx] += 700
    assert figures(data)["stars"] == 0


def test_a_saturated_star_counts_once():
    data = noise()
    for y in (80, 200, 300):
        star(data, y, 200.3, 4e5, 4.0)
    assert 3 <= figures(np.minimum(data, 16383))["stars"] <= 6


@pytest.mark.parametrize("cfa", PATTERNS)
def test_a_fall_off_is_told_from_a_glow_and_from_a_slope(cfa):
    fallen = figures(noise() - 30 * radius(), cfa)
    assert fallen["fall_least_sigma"] > 1.2
    assert fallen["fall_mean_sigma"] > 1.2
    glow = figures(noise() + 60 * np.exp(-np.arange(SHAPE[1]) / 60.0), cfa)
    assert glow["fall_least_sigma"] < -1
    assert glow["glow_sigma"] > 2
    assert glow["dip_sigma"] < 0.2
    slope = figures(noise() + np.linspace(-20, 20, SHAPE[1]), cfa)
    assert slope["fall_least_sigma"] < -1
    assert slope["dip_sigma"] > 1


def test_stars_in_a_glow_are_seen_and_the_glow_makes_none():
    data = noise() + 4000 * np.exp(-np.hypot(*np.ogrid[0 : SHAPE[0], 0 : SHAPE[1]]) / 70)
    data = data + np.random.default_rng(8).normal(0, 1, SHAPE) * np.sqrt(np.maximum(data - 1000, 0))
    assert figures(data)["stars"] <= 1
    for number in range(10):
        star(data, 200 + 10 * number, 60 + 35 * number, 300, 2.4)
    assert 9 <= figures(data)["stars"] <= 11


def test_colour_filters_nobody_declared_show():
    data = noise()
    data[1::2, 0::2] += 25
    assert figures(data)["channel_spread_sigma"] == pytest.approx(2.5, abs=0.1)


def test_rows_and_columns_that_differ_show():
    rng = np.random.default_rng(9)
    rows = figures(noise() + rng.normal(0, 3, (SHAPE[0], 1)))
    assert rows["rows_sigma"] == pytest.approx(0.3, abs=0.07)
    assert rows["columns_sigma"] < 0.06
    columns = figures(noise() + rng.normal(0, 3, (1, SHAPE[1])))
    assert columns["columns_sigma"] == pytest.approx(0.3, abs=0.07)


def test_clouds_of_a_nebula_are_uneven():
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]]
    clouds = 25 * np.sin(x / 25) * np.sin(y / 31)
    # 1.25 in root mean square, less what blocks of 24 pixels and the smooth surface take away
    assert 0.8 < figures(noise() + clouds)["uneven_sigma"] < 1.25


@pytest.mark.parametrize("level", [0, 65535, 700])
def test_a_frame_of_one_value_has_figures(level):
    found = structure(np.full(SHAPE, level, dtype=np.uint16), mosaic_of(None, None, None), 0.29)[0]
    assert found["noise_dn"] == 0.29
    assert found["stars"] == found["hot_pixels"] == 0


@pytest.mark.parametrize("shape", [(1, 1), (47, 300), (300, 47)])
def test_a_tiny_frame_has_none(shape):
    assert structure(np.zeros(shape, dtype=np.uint16), mosaic_of("RGGB", 2, 2), 0.29) == ({}, None)


@pytest.mark.parametrize("shape", [(48, 48), (49, 131), (601, 50)])
@pytest.mark.parametrize("cfa", PATTERNS)
def test_odd_sizes_have_figures(shape, cfa):
    assert figures(noise(shape=shape), cfa)["noise_dn"] == pytest.approx(10, rel=0.12)
