"""Exposure advice on numbers small enough for a pencil."""

from dataclasses import replace
from math import sqrt

import pytest

from darklib.facts.codes import ADVICE
from darklib.facts.sensor import Value
from darklib.sensor.exposed import Exposed, Light, judged, sky_value
from darklib.sensor.exposure import histogram_gap, read_share, sky_rate_e_s, sub_exposure_s

LIGHT = Light(
    exposure_s=100.0,
    lights=9,
    sky_e_s={"R": Value(2.0, 0.1), "G": Value(4.0, 0.1)},
    dark_e_s=0.5,
    read_noise_e=5.0,
    step_e=0.0,
    level_dn=2000.0,
    mad_dn=10.0,
    black_dn=500.0,
    white_dn=16383.0,
    saturated_fraction=0.0,
    of_target=9,
    wanted=10,
)


def codes(found: Exposed) -> set[str]:
    assert {reason.code for reason in found.advice} <= set(ADVICE)
    return {reason.code for reason in found.advice}


def test_the_faintest_colour_decides() -> None:
    found = judged(LIGHT)
    assert found.colour == "R"
    # 25 / (2 (1.05^2 - 1)) and 25 / (2.5 (1.05^2 - 1))
    assert found.sub_exposure_s == pytest.approx(121.95, abs=0.01)
    assert found.sub_exposure_with_dark_s == pytest.approx(97.56, abs=0.01)
    # sqrt(250 + 25) / sqrt(250) - 1
    assert found.read_share_percent == pytest.approx(100 * (sqrt(275 / 250) - 1), abs=1e-3)
    assert "long_enough" in codes(found)


def test_short_lights_are_told_how_long() -> None:
    found = judged(replace(LIGHT, exposure_s=20.0))
    assert "too_short" in codes(found)
    assert any("122 s" in reason.text for reason in found.advice)


def test_signal_to_noise_of_a_tenth_of_the_sky_and_of_what_is_asked_for() -> None:
    found = judged(LIGHT)
    assert found.signal_to_noise is not None
    # 20 / sqrt(20 + 200 + 50 + 25), times 3 for nine lights
    assert found.signal_to_noise.of_one == pytest.approx(20 / sqrt(295))
    assert found.signal_to_noise.of_all == pytest.approx(60 / sqrt(295))
    asked = judged(LIGHT, signal_e_s=1.0, wished=20.0).signal_to_noise
    assert asked is not None
    # 100 / sqrt(375) = 5.164; (20 / 5.164)^2 = 15
    assert (asked.lights_wished, asked.lights_to_go) == (15, 6)
    few = judged(LIGHT, signal_e_s=1.0, wished=5.0).signal_to_noise
    assert few is not None
    assert (few.lights_wished, few.lights_to_go) == (1, 0)


def test_unknowns_are_said_and_never_made_up() -> None:
    found = judged(replace(LIGHT, read_noise_e=None))
    assert "read_noise_assumed" in codes(found)
    found = judged(replace(LIGHT, sky_e_s={}))
    assert "gain_unknown" in codes(found)
    assert (found.read_share_percent, found.sub_exposure_s, found.signal_to_noise) == (None, None, None)
    assert "dark_unknown" in codes(judged(replace(LIGHT, dark_e_s=None)))
    assert "exposure_unknown" in codes(judged(replace(LIGHT, exposure_s=None)))
    assert judged(replace(LIGHT, white_dn=None)).histogram_gap is None


def test_a_sky_within_its_error_has_an_upper_bound() -> None:
    value = sky_value(500.1, 0.2, 500.0, 0.2, Value(1.0, 0.0), 100.0)
    assert value.value == 0.0
    # Half of 0.1 + 2 x 0.283 DN a hundred seconds.
    assert value.error == pytest.approx((0.1 + 2 * sqrt(0.08)) / 2 / 100)
    found = judged(replace(LIGHT, sky_e_s={"": value}, dark_e_s=0.0))
    assert "sky_below_error" in codes(found)
    assert found.sub_exposure_s is None


def test_sky_above_its_zero() -> None:
    value = sky_value(700.0, 0.0, 500.0, 0.0, Value(0.5, 0.05), 50.0)
    assert value.value == pytest.approx(2.0)
    assert value.error == pytest.approx(0.2)


@pytest.mark.parametrize(("held", "sky"), [(True, 3.0), (False, 2.5)])
def test_a_held_level_has_no_dark_current_in_it(held: bool, sky: float) -> None:
    assert sky_rate_e_s(300.0, 100.0, 0.5, level_held=held) == pytest.approx(sky)


def test_the_gap_is_read_on_the_tone_curved_axis() -> None:
    # A tenth of white above black is 1.055 x 0.1^(1/2.4) - 0.055 = 0.349 on the axis; the noise is taken as none.
    assert histogram_gap(1100.0, 0.0, 100.0, 10_100.0) == pytest.approx(0.3492, abs=1e-4)
    # Three sigma of a MAD of 100 DN lower: 555.2 / 10000.
    assert histogram_gap(1100.0, 100.0, 100.0, 10_100.0) == pytest.approx(
        1.055 * 0.05552 ** (1 / 2.4) - 0.055, abs=1e-4
    )


@pytest.mark.parametrize(("level_dn", "code"), [(600.0, "gap_small"), (800.0, "gap_right"), (3000.0, "gap_large")])
def test_advice_on_the_gap(level_dn: float, code: str) -> None:
    assert code in codes(judged(replace(LIGHT, level_dn=level_dn, mad_dn=5.0)))


def test_other_advice() -> None:
    assert "saturated" in codes(judged(replace(LIGHT, saturated_fraction=0.01)))
    assert "dark_above_sky" in codes(judged(replace(LIGHT, dark_e_s=3.0)))
    assert "few_lights" in codes(judged(LIGHT))
    assert "enough_lights" in codes(judged(replace(LIGHT, of_target=10)))


def test_longer_lights_need_no_more_share_of_reading() -> None:
    shares = [read_share(2.0, 0.1, seconds, 5.0) for seconds in (10.0, 100.0, 1000.0)]
    assert shares == sorted(shares, reverse=True)
    assert sub_exposure_s(4.0, 5.0) == pytest.approx((sub_exposure_s(2.0, 5.0) or 0.0) / 2)
