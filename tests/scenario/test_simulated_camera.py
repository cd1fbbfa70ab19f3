"""The camera obeys its own description."""

from dataclasses import replace

import numpy as np
import pytest

from darklib.scenario.camera import Camera, DarkLaw, Readout
from darklib.scenario.cast import FIRST_BODY, SECOND_BODY, cooled_camera, raw_camera
from darklib.scenario.pattern import fixed_pattern

COOLED = cooled_camera(5, 120, 80)
RAW = raw_camera(5, FIRST_BODY, 120, 80)


def rng(seed=1):
    return np.random.default_rng(seed)


def test_the_same_seed_gives_the_same_frame_and_another_seed_does_not():
    first = COOLED.expose(300.0, -10.0, 100, rng())
    assert np.array_equal(first, COOLED.expose(300.0, -10.0, 100, rng()))
    assert not np.array_equal(first, COOLED.expose(300.0, -10.0, 100, rng(2)))


def test_a_body_keeps_its_hot_pixels_and_its_twin_has_others():
    again, twin = raw_camera(5, FIRST_BODY, 120, 80), raw_camera(5, SECOND_BODY, 120, 80)
    mine = fixed_pattern(RAW).hot
    fixed_pattern.cache_clear()
    assert np.array_equal(mine, fixed_pattern(again).hot)
    shared = (mine & fixed_pattern(twin).hot).sum() / mine.sum()
    assert shared < 0.1


def test_values_keep_to_the_converters_steps_and_range():
    bright = np.full((80, 120), 1e6)
    frame = COOLED.expose(1.0, -10.0, 100, rng(), bright)
    assert frame.dtype == np.uint16
    assert frame.max() == COOLED.white_dn == 65532
    dark = COOLED.expose(300.0, 5.0, 100, rng())
    assert np.gcd.reduce(dark, axis=None) == 4


def test_full_well_holds_back_what_the_converter_could_still_show():
    camera = replace(COOLED, full_well_e=30_000.0, nonuniformity=0.0)
    frame = camera.expose(1.0, -10.0, 0, rng(), np.full((80, 120), 1e6))
    reading = camera.readout(0)
    assert np.median(frame) == pytest.approx(30_000.0 / reading.gain_e_per_dn + reading.offset_dn, rel=1e-3)


def test_a_setting_the_camera_lacks_is_an_error():
    with pytest.raises(KeyError, match="7"):
        COOLED.readout(7)


def test_a_held_level_stays_put_while_the_noise_grows():
    cold, warm = (RAW.expose(120.0, t, 1600, rng()).astype(float) for t in (0.0, 24.0))
    assert abs(np.median(warm) - np.median(cold)) <= 3.0
    spread = [np.subtract(*np.percentile(frame, [75, 25])) for frame in (cold, warm)]
    assert spread[1] > 3 * spread[0]


def test_a_level_not_held_rises_with_the_dark_current():
    cold, warm = (np.median(COOLED.expose(300.0, t, 100, rng()).astype(float)) for t in (-10.0, 2.0))
    rate = COOLED.dark.median_at_zero_e_per_s
    expected = rate * 300.0 * (2 ** (2 / 6) - 2 ** (-10 / 6)) / COOLED.readout(100).gain_e_per_dn
    assert warm - cold == pytest.approx(expected, rel=0.15)


def test_colours_are_laid_out_as_the_pattern_says():
    planes = RAW.colour_planes()
    assert ["".join(row) for row in planes[:2, :4]] == ["RGRG", "GBGB"]
    six = replace(RAW, cfa="GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG", width=64, height=50)
    planes = six.colour_planes()
    assert planes.shape == (50, 64)
    assert "".join(planes[8, 6:12]) == "BRGRBG"
    assert set(COOLED.colour_planes().ravel()) == {"L"}


def test_glow_is_brightest_in_its_corner_and_grows_with_time():
    camera = replace(COOLED, glow_e_per_s=5.0, dark=DarkLaw(0.0, hot_fraction=0.0), cosmic_rays_per_cm2_s=0.0)
    frame = camera.expose(100.0, -10.0, 100, rng()).astype(float)
    corner, opposite = frame[:6, -6:].mean(), frame[-6:, :6].mean()
    assert (corner - opposite) * 0.25 > 0.5 * 500


def test_cosmic_rays_come_at_their_rate():
    camera = Camera(
        "m", "n", "s", 100, 100, (Readout(1, 1.0, 0.0, 0.0),), DarkLaw(0.0, hot_fraction=0.0),
        cosmic_rays_per_cm2_s=1.0, pixel_um=100.0,
    )  # fmt: skip
    # One square centimetre for 200 s: 200 tracks of 1 + Exp(1.5) pixels, most of them over 200 electrons each.
    struck = (camera.expose(200.0, 0.0, 1, rng()) > 200).sum()
    assert 200 < struck < 700
