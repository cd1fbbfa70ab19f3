"""What passes for a star by the light around it: point sources of known width, hot pixels, leaks and clusters."""

import numpy as np
import pytest
from scipy.special import ndtr

from darklib.pixels.measure import measure

NOISE, LEVEL, SHAPE = 10.0, 1000.0, (240, 320)


def figures(put, seed=1):
    rng = np.random.default_rng(seed)
    plane = rng.normal(LEVEL, NOISE, SHAPE)
    for y in range(20, 230, 30):
        for x in range(20, 310, 30):
            put(plane, y, x, rng)
    data = np.clip(np.rint(plane), 0, 65535).astype(np.uint16)
    told = {"cfa": None, "cfa_rows": None, "cfa_columns": None, "black_dn": None, "white_dn": None, "bits": None}
    return measure(data, **told).structure


PLACED = 70
"""7 x 10 of them."""


def star(fwhm, peak_sigma):
    """A Gaussian integrated over each pixel; peak: of a star in the middle of a pixel."""
    sigma = fwhm / 2.3548

    def profile(offset):
        edges = np.arange(-8, 10) - 0.5 - offset
        return np.diff(ndtr(edges / sigma))

    def put(plane, y, x, rng):
        dy, dx = rng.uniform(-0.5, 0.5, 2)
        light = np.outer(profile(dy), profile(dx)) * peak_sigma * NOISE / profile(0.0).max() ** 2
        plane[y - 8 : y + 9, x - 8 : x + 9] += light

    return put


def hot(peak_sigma, leak=0.0, beside=0):
    def put(plane, y, x, rng):
        plane[y, x] += peak_sigma * NOISE
        for dy, dx in ((-1, 0), (1, 0), (0, -1), (0, 1)):
            plane[y + dy, x + dx] += leak * peak_sigma * NOISE
        for number in rng.permutation(8)[:beside]:
            dy, dx = divmod(int(number) + (number >= 4), 3)
            plane[y + dy - 1, x + dx - 1] += 20.0 * NOISE

    return put


@pytest.mark.parametrize(("fwhm", "peak"), [(2.0, 12.0), (3.0, 8.0), (5.0, 8.0), (2.5, 300.0)])
def test_stars_of_two_pixels_and_more_are_soft(fwhm, peak):
    found = figures(star(fwhm, peak))
    assert found["soft_stars"] >= 0.8 * PLACED
    assert found["soft_stars_by_chance"] <= 0.02 * PLACED


@pytest.mark.parametrize(("fwhm", "peak"), [(3.0, 15.0), (5.0, 10.0), (2.5, 300.0)])
def test_bright_stars_are_whole(fwhm, peak):
    assert figures(star(fwhm, peak))["whole_stars"] >= 0.8 * PLACED


@pytest.mark.parametrize(
    ("put", "most"),
    [
        (hot(6.0), 0.0),
        (hot(3000.0), 0.0),
        (hot(3000.0, leak=0.015), 0.0),
        (hot(50.0, beside=2), 0.0),
        # Five in one place need little help from noise: such crowds are what the controls are for.
        (hot(50.0, beside=4), 0.15),
    ],
    ids=["faint", "bright", "leaking", "three together", "five together"],
)
def test_hot_pixels_are_hardly_ever_soft_and_never_whole(put, most):
    found = figures(put)
    assert found["soft_stars"] <= most * PLACED
    assert found["whole_stars"] == 0


def test_points_below_the_background_are_counted_as_those_above():
    def both(plane, y, x, rng):
        plane[y, x] += 30 * NOISE
        plane[y + 9, x + 9] -= 30 * NOISE

    found = figures(both)
    assert found["points_low"] == pytest.approx(found["points_high"], rel=0.2)
    assert found["points_low"] > 5e-4
    assert figures(hot(30.0))["points_low"] < 5e-5


@pytest.mark.parametrize(("colours", "share"), [((1.0, 1.0, 1.0, 1.0), 0.0), ((1.0, 0.6, 0.6, 0.3), 0.7)])
def test_a_glow_that_the_colours_see_differently_came_through_them(colours, share):
    rng = np.random.default_rng(5)
    x = np.arange(SHAPE[1])[np.newaxis, :]
    tile = np.tile(np.array(colours).reshape(2, 2), (SHAPE[0] // 2, SHAPE[1] // 2))
    plane = rng.normal(LEVEL, NOISE, SHAPE) + 600.0 * np.exp(-x / 100.0) * tile
    told = {"cfa": "RGGB", "cfa_rows": 2, "cfa_columns": 2, "black_dn": None, "white_dn": None, "bits": None}
    found = measure(np.rint(plane).astype(np.uint16), **told).structure
    assert found["glow_sigma"] > 20
    assert found["glow_colour_sigma"] == pytest.approx(share * found["glow_sigma"], abs=0.03 * found["glow_sigma"])
