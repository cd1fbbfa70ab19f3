"""The kind of one frame from its figures: what decides, and what must leave it undecided."""

from dataclasses import replace

import pytest
from shown import facts, pixels, starry

from darklib.facts.frame import Kind, KindFrom
from darklib.kinds.evidence import DECIDED, kind_from_pixels
from darklib.kinds.signs import StarCounts, expected_cosmic_stars, own_black, range_dn, signs_of, star_grade

UNKNOWN = {"black_dn": None, "bits": None}


def kind(facts_, pixels_, black_dn=None):
    decision = kind_from_pixels(facts_, pixels_, black_dn)
    if decision.kind is None:
        assert decision.source is None
        assert decision.confidence < DECIDED
    else:
        assert decision.source is KindFrom.PIXELS
        assert decision.confidence >= DECIDED
    assert decision.why
    return decision.kind


@pytest.mark.parametrize("exposure_s", [0.0, 1 / 8000, 1 / 4000, 0.001])
def test_unlit_and_as_short_as_it_goes_is_bias(exposure_s):
    assert kind(facts(exposure_s), pixels()) is Kind.BIAS


@pytest.mark.parametrize("exposure_s", [1 / 500, 0.5, 10, 120, 900])
def test_unlit_and_longer_is_dark(exposure_s):
    assert kind(facts(exposure_s), pixels(815)) is Kind.DARK


def test_unlit_without_an_exposure_is_undecided():
    assert kind(replace(facts(), exposure_s=None), pixels()) is None


@pytest.mark.parametrize("glow", [2.0, 20.0])
def test_a_glow_of_the_amplifier_leaves_a_dark_a_dark(glow):
    assert kind(facts(), pixels(glow_sigma=glow, dip_sigma=0.1 * glow, uneven_sigma=0.4 * glow)) is Kind.DARK


def test_stars_make_a_light():
    assert kind(facts(), pixels(830, **starry())) is Kind.LIGHT
    assert kind(facts(), pixels(830, **starry(6, 300))) is Kind.LIGHT


def test_one_star_is_enough_not_to_be_dark():
    assert kind(facts(), pixels(802, stars=1.0, plain_stars=1.0)) is None


def test_stars_that_chance_explains_are_none():
    hot = {"stars": 30.0, "stars_by_chance": 28.0, "hot_pixels": 60_000.0}
    assert kind(facts(pixel_size_um=2.0), pixels(815, **hot)) is Kind.DARK
    starlit = {**hot, "stars": 90.0, "plain_stars": 20.0, "soft_stars": 4.0, "whole_stars": 2.0}
    assert kind(facts(), pixels(815, **starlit)) is Kind.LIGHT


def test_cosmic_rays_of_a_large_sensor_are_no_stars():
    # 24 megapixels of 6 um are 8.6 cm2: in 900 s some 130 muons (one a minute and square centimetre, at sea level).
    large, seen = facts(900, pixel_size_um=6.0), {"stars": 30.0, "plain_stars": 25.0}
    assert expected_cosmic_stars(large, replace(pixels(), width=6000, height=4000)) == pytest.approx(
        0.3 * 130, rel=0.02
    )
    assert kind(large, replace(pixels(**seen), width=6000, height=4000)) is Kind.DARK
    assert kind(facts(30, pixel_size_um=2.4), pixels(stars=30.0, plain_stars=25.0)) is Kind.LIGHT


def test_a_sky_without_stars_is_a_light_when_it_falls_off_and_undecided_otherwise():
    assert kind(facts(), pixels(900, fall_least_sigma=0.6, fall_mean_sigma=0.9, glow_sigma=-0.5)) is Kind.LIGHT
    assert kind(facts(), pixels(840)) is None


def test_colours_that_differ_are_light_and_alike_are_dark_current():
    colour = {"cfa": "RGGB", "cfa_rows": 2, "cfa_columns": 2}
    assert kind(facts(**colour), pixels(860, channel_spread_sigma=0.1)) is Kind.DARK
    fallen = {"fall_least_sigma": 0.2, "fall_mean_sigma": 0.3}
    assert kind(facts(**colour), pixels(860, channel_spread_sigma=2.5, **fallen)) is Kind.LIGHT
    assert kind(facts(**colour), pixels(860, channel_spread_sigma=0.4)) is None


@pytest.mark.parametrize("exposure_s", [1 / 4000, 0.01, 1.5, 20])
def test_evenly_bright_is_flat(exposure_s):
    assert kind(facts(exposure_s), pixels(30_000, 120, fall_least_sigma=5.0, fall_mean_sigma=9.0)) is Kind.FLAT
    assert kind(facts(exposure_s), pixels(30_000, 120)) is Kind.FLAT


def test_an_exposure_longer_than_flats_have_is_undecided_when_bright():
    assert kind(facts(300), pixels(30_000, 120, fall_least_sigma=5.0, fall_mean_sigma=9.0)) is None


def test_a_few_faint_stars_at_twilight_leave_a_flat_a_flat():
    dusk = {"stars": 9.0, "plain_stars": 6.0, "star_peak_dn": 900.0}
    assert kind(facts(8), pixels(30_000, 120, fall_least_sigma=5.0, fall_mean_sigma=9.0, **dusk)) is Kind.FLAT
    assert kind(facts(8), pixels(30_000, 120, **starry(400, 30_000))) is Kind.LIGHT


def test_light_from_one_side_is_neither_dark_nor_light():
    assert kind(facts(), pixels(850, glow_sigma=6.0, dip_sigma=2.5, fall_least_sigma=-6.0)) is None


def test_without_a_black_level_a_long_mono_frame_is_undecided_and_a_bias_is_not():
    assert kind(facts(**UNKNOWN), pixels()) is None
    assert kind(facts(1 / 4000, **UNKNOWN), pixels()) is Kind.BIAS
    assert kind(facts(**UNKNOWN), pixels(**starry())) is Kind.LIGHT


def test_without_a_black_level_a_colour_sensor_whose_colours_agree_is_dark():
    colour = {"cfa": "RGGB", "cfa_rows": 2, "cfa_columns": 2}
    assert kind(facts(**UNKNOWN, **colour), pixels()) is Kind.DARK


def test_the_black_level_of_other_frames_of_the_camera_decides():
    assert kind(facts(**UNKNOWN), pixels(), 795.0) is Kind.DARK
    assert kind(facts(**UNKNOWN), pixels(), 700.0) is None
    assert kind(facts(2, **UNKNOWN), pixels(9000, 60), 800.0) is Kind.FLAT


def test_a_level_no_black_reaches_is_light_whatever_the_range():
    assert kind(facts(0.002, **UNKNOWN), pixels(24_000, 90, fall_mean_sigma=8.0)) is Kind.FLAT
    assert kind(facts(0.002, **UNKNOWN), pixels(12_000, 90)) is None


def test_a_black_level_the_pixels_belie_is_not_believed():
    assert own_black(facts(), 700.0, 8.0) is None
    assert own_black(facts(), 790.0, 8.0) == 800.0
    assert own_black(facts(black_dn=0.0), 790.0, 8.0) is None


def test_the_range_is_told_or_the_least_that_holds_the_values():
    assert range_dn(facts(white_dn=15_000.0), pixels()) == 15_000
    assert range_dn(facts(bits=14), pixels()) == 16_383
    assert range_dn(facts(**UNKNOWN), pixels(top=3000)) == 4095
    assert range_dn(facts(**UNKNOWN), pixels(top=16_383)) == 16_383
    assert range_dn(facts(**UNKNOWN), pixels(top=16_384)) == 65_535


@pytest.mark.parametrize(
    ("counts", "grade"),
    [
        ((0, 0, 0, 0, 0), 0), ((1, 0, 0, 0, 0), 1),
        ((1, 0, 0, 0, 0.1), 0), ((1, 0, 1, 0, 0), 1), ((3, 0, 3, 0, 0), 2), ((40, 40, 0, 0, 0), 0),
        ((9, 0, 0, 0, 0), 1), ((9, 0, 1, 0, 0), 2), ((5, 0, 5, 0, 9), 0), ((50, 0, 50, 0, 9), 2),
    ],
)  # fmt: skip
def test_more_stars_than_chance_and_cosmic_rays_give(counts, grade):
    *found, cosmic = map(float, counts)
    assert star_grade(StarCounts(*found, 0.0, 0.0, 0.0), cosmic) == grade


def test_a_tiny_frame_has_no_signs():
    tiny = replace(pixels(), structure={})
    assert signs_of(facts(), tiny, None) is None
    assert kind(facts(), tiny) is None
