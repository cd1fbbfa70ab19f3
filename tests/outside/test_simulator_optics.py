"""The simulated optics against geometry and published figures of real telescopes."""

import numpy as np
import pytest

from darklib.scenario.camera import Camera, DarkLaw, Readout
from darklib.scenario.optics import (
    Grain,
    Telescope,
    Train,
    cos4,
    pixel_places_mm,
    shadow,
    shadow_diameter_mm,
    transmission,
    unvignetted_diameter_mm,
    vignetting,
)
from darklib.scenario.sky import Pointing, Sky, add_star, light_from_sky

OPEN = Telescope("t", 1000.0, 200.0, 0.0, 60.0, 200.0)
CAMERA = Camera("m", "n", "s", 300, 200, (Readout(1, 1.0, 1.0, 0.0),), DarkLaw(0.1), pixel_um=20.0)


@pytest.mark.parametrize(
    ("distance_mm", "focal_ratio", "diameter_px", "pixel_mm", "tolerance"),
    [
        # HST ACS Data Handbook, section on flat fields: dust motes on the windows are about 100 pixels wide in the
        # f/25 wide field channel, about 30 in the f/68 high resolution channel; with pixels of 15 and 21 um (value
        # from memory) the windows stand 37.5 and 42.8 mm before the detectors, on similar triangles.
        (37.5, 25.0, 100.0, 0.015, 0.01),
        (42.8, 68.0, 30.0, 0.021, 0.01),
        # ING, JKT CCD camera pages: rings of 7 arc seconds at f/15 and 13.75 arc seconds a mm, so 0.509 mm wide.
        (7.64, 15.0, 7.0, 1 / 13.751, 0.01),
    ],
)
def test_shadows_are_as_wide_as_published(distance_mm, focal_ratio, diameter_px, pixel_mm, tolerance):
    assert shadow_diameter_mm(distance_mm, focal_ratio) / pixel_mm == pytest.approx(diameter_px, rel=tolerance)


@pytest.mark.parametrize(("distance_mm", "obstruction"), [(6.0, 0.0), (8.0, 0.35), (12.0, 0.42)])
def test_a_shadow_in_the_map_is_d_over_n_wide_with_a_hole_and_takes_the_grains_own_area(distance_mm, obstruction):
    # Similar triangles (derivation); a grain takes out its own area, however far the shadow is spread.
    telescope = Telescope("t", 600.0, 150.0, obstruction, 60.0, 200.0)
    grain = Grain(0.08, distance_mm, 0.01, 0.01)
    x, y = pixel_places_mm(CAMERA)
    held = shadow(telescope, grain, x, y)
    across = held[100] > held.max() / 2
    columns = np.flatnonzero(across)
    assert (columns[-1] - columns[0] + 1) * 0.02 == pytest.approx(distance_mm / 4.0, abs=0.04)
    hole = (~across[columns[0] : columns[-1]]).sum() * 0.02
    assert hole == pytest.approx(obstruction * distance_mm / 4.0, abs=0.04)
    area = held.sum() * 0.02**2 / (np.pi / 4 * 0.08**2)
    assert area == pytest.approx(1.0, rel=0.01)


@pytest.mark.parametrize(("angle_deg", "share"), [(0, 1.0), (5, 0.98487), (10, 0.94060), (20, 0.77973)])
def test_the_fourth_power_of_the_cosine(angle_deg, share):
    # cos^4 law of illumination, any optics textbook (e.g. Smith, Modern Optical Engineering); figures computed by hand.
    assert cos4(angle_deg) == pytest.approx(share, abs=6e-6)


def test_the_clear_diameter_without_vignetting():
    # Geometry: d/N + 2 r (1 - d/f); f 2000, N 10, r 14.42 mm, d 25 mm give 30.98 mm.
    telescope = Telescope("t", 2000.0, 200.0, 0.0, 25.0)
    assert unvignetted_diameter_mm(telescope, 14.42) == pytest.approx(30.98, abs=0.005)


@pytest.mark.parametrize("obstruction", [0.0, 0.4])
def test_a_stop_of_that_diameter_takes_nothing_and_a_smaller_one_darkens_the_corner_only(obstruction):
    x, y = np.array([[0.0, 2.0, 5.0]]), np.zeros((1, 3))
    wide = Telescope("t", 500.0, 100.0, obstruction, 50.0, 1.0)
    clear = unvignetted_diameter_mm(wide, 5.0)
    natural = np.cos(np.arctan(x / 500.0)) ** 4

    def through(diameter):
        return vignetting(Telescope("t", 500.0, 100.0, obstruction, 50.0, diameter), x, y) / natural

    assert through(clear + 0.01)[0] == pytest.approx([1.0, 1.0, 1.0], abs=1e-9)
    narrow = through(clear - 2.0)[0]
    assert narrow[:2] == pytest.approx([1.0, 1.0], abs=1e-9)
    assert 0.8 < narrow[2] < 0.99


def test_half_the_beam_passes_where_a_straight_edge_halves_it():
    # A stop very much wider than the beam, with its rim through the beam's middle, is a straight edge.
    telescope = Telescope("t", 500.0, 100.0, 0.0, 50.0, 20_000.0)
    rim = np.array([[10_000.0 / (1 - 50 / 500)]])
    natural = np.cos(np.arctan(rim / 500.0)) ** 4
    assert (vignetting(telescope, rim, np.zeros((1, 1))) / natural)[0, 0] == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize(("angle_deg", "moved_px"), [(0.5, 17.45), (1.0, 34.91), (5.0, 174.48), (180.0, 4000.0)])
def test_turning_the_camera_moves_what_stays_on_the_telescope_by_a_chord(angle_deg, moved_px):
    # Geometry: 2 r sin(angle/2); at r = 2000 pixels 17.45, 34.91, 174.48 and 4000 pixels. Here at r = 60, scaled.
    def middle(angle):
        grain = Grain(0.3, 1.5, 1.2, 0.0, "tube")
        lost = 1.0 - transmission(CAMERA, Train(OPEN, (grain,), angle), None)
        lost[lost < 0.2 * lost.max()] = 0.0
        rows, columns = np.indices(lost.shape)
        return np.array([(rows * lost).sum(), (columns * lost).sum()]) / lost.sum()

    moved = np.hypot(*(middle(angle_deg) - middle(0.0)))
    assert moved == pytest.approx(moved_px * 60 / 2000, abs=0.15)


def test_window_dust_stays_when_the_camera_turns_and_filter_dust_belongs_to_its_filter():
    train = (Grain(0.2, 5.0, 1.0, 0.5, "window"), Grain(0.2, 20.0, -1.0, 0.0, "filter", "R"))
    straight, turned = (transmission(CAMERA, Train(OPEN, train, angle), "L") for angle in (0.0, 40.0))
    assert straight == pytest.approx(turned, abs=1e-9)
    red = transmission(CAMERA, Train(OPEN, train, 0.0), "R")
    assert (1 - red / straight).max() == pytest.approx((0.2 / 4.0) ** 2, rel=1e-6)


@pytest.mark.parametrize("fwhm_px", [0.6, 1.2, 2.4, 5.0])
@pytest.mark.parametrize("place", [20.0, 20.37, 20.5])
def test_a_star_keeps_its_light_however_small_it_is(fwhm_px, place):
    plane = np.zeros((41, 41))
    add_star(plane, place, 20.2, 1000.0, fwhm_px)
    assert plane.sum() == pytest.approx(1000.0, rel=1e-4)
    if fwhm_px > 1:  # A smaller star falls into one pixel, and no centroid tells where in it.
        assert (plane.sum(axis=0) * np.arange(41)).sum() / 1000 == pytest.approx(place, abs=0.01)


def test_a_meridian_flip_turns_the_field_by_half_a_circle():
    sky = Sky("NGC 1", (("L", 0.0),), gradient=0.0)
    before, after = (light_from_sky(CAMERA, Train(OPEN), sky, "L", Pointing(0, 0, turn)) for turn in (0.0, 180.0))
    assert after == pytest.approx(before[::-1, ::-1], abs=1e-6)


def test_bright_stars_are_as_rare_as_the_power_law_says():
    # Number of stars brighter than F goes with F^-slope; slope 0.8 lies between a uniform (1.5) and a thin field.
    from darklib.scenario.sky import star_field

    flux = star_field("NGC 2", 20_000, 1.0, 1e9, 0.8, 1, 100).flux_e_per_s
    for level in (2.0, 10.0, 50.0):
        assert (flux > level).mean() == pytest.approx(level**-0.8, rel=0.06)
