"""Matches of a measured sensor: the cheapest set is chosen, and what it costs is told."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from roll import BODY, READOUT, TRAIN, frames

from darklib.facts.frame import Combined, Frame, Kind
from darklib.facts.match import Choice, Match, Use, Verdict
from darklib.facts.sensor import DarkRates, SensorModel, Value
from darklib.facts.settings import PriceLimits, Settings
from darklib.matching.batches import batches_of
from darklib.matching.choose import match
from darklib.matching.stock import MemoryStock

RATES = DarkRates(
    0.0,
    (0.04, 0.05, 0.06, 0.5, 2.0, 8.0, 40.0),
    (300_000, 400_000, 297_000, 2_000, 700, 250, 50),
    0.4,
)
MODEL = SensorModel(
    BODY,
    READOUT,
    bias_dn=Value(500.0, 0.1),
    read_noise_e=Value(3.0, 0.1),
    gain_e_per_dn=Value(1.0, 0.01),
    doubling_c=Value(6.0, 0.1),
    hot_doubling_c=Value(6.5, 0.1),
    dark_rates=RATES,
    level_held=True,
)
MODELS = {(BODY.id, READOUT.key): MODEL}


def lights(
    many: int = 20, temperature_c: float | list[float] = 0.0, level_dn: float | None = 800.0, exposure_s: float = 300.0
) -> list[Frame]:
    """Lights whose sky is one electron a second above the bias of 500 DN, unless said otherwise."""
    made = frames(
        Kind.LIGHT, many, "2026-10-10 21:00:00", exposure_s=exposure_s, temperature_c=temperature_c, train=TRAIN
    )
    return [replace(one, median_dn=level_dn) for one in made]


def darks(
    many: int, temperature_c: float, start: str = "2026-10-01 10:00:00", exposure_s: float = 300.0
) -> list[Frame]:
    return frames(Kind.DARK, many, start, exposure_s=exposure_s, temperature_c=temperature_c)


def biases() -> list[Frame]:
    return frames(Kind.BIAS, 30, "2026-10-01 09:00:00", exposure_s=0.0, temperature_c=0.0)


def matches(
    stock: list[Frame], own: list[Frame], pointing: str = "unknown", settings: Settings | None = None
) -> list[Match]:
    (batch,) = batches_of(own)
    batch = replace(batch, pointing=pointing)
    return match(batch, MemoryStock(stock), settings or Settings(), MODELS)


def chosen(stock: list[Frame], own: list[Frame], pointing: str = "unknown") -> Choice:
    (one,) = matches(stock, own, pointing)
    return one.darks


def codes(choice: Choice) -> set[str]:
    return {reason.code for reason in choice.reasons}


def test_the_cheapest_is_chosen_and_all_its_figures_are_told() -> None:
    found = chosen(darks(20, 0.0) + darks(20, 3.0, "2026-10-05 10:00:00"), lights())
    assert found.verdict is Verdict.GOOD
    assert found.temperature_mismatch_c == 0.0
    assert found.recipe is not None
    assert found.recipe.form == "exact"
    told = (found.time_cost_percent, found.time_cost_percent_fixed, found.time_cost_percent_dithered)
    assert all(one is not None and one > 0.0 for one in told)
    assert found.time_cost_percent == found.time_cost_percent_dithered
    assert found.no_dark_cost_percent is not None
    assert found.no_dark_cost_percent > found.time_cost_percent
    assert found.hot_pixels_left_per_megapixel == 0.0
    assert (found.level_error_e, found.flat_residual_percent) == (0.0, 0.0)
    assert found.lights_factor == pytest.approx(1.0 + found.time_cost_percent / 100.0, abs=1e-4)
    assert "pointing_unknown" in codes(found)
    assert "assumed_sensor" not in codes(found)
    (other,) = found.runners_up
    assert other.reasons[0].code == "costs_more"
    assert other.time_cost_percent is not None
    assert other.time_cost_percent > found.time_cost_percent


def test_a_warmer_set_of_more_frames_loses_to_a_colder_one_that_costs_less() -> None:
    """The simple limits call both good; the price tells them apart."""
    stock = darks(40, 1.9) + darks(20, -0.4, "2026-09-01 10:00:00")
    assert chosen(stock, lights()).temperature_mismatch_c == -0.4


def test_equal_costs_go_to_the_newer_and_then_the_larger() -> None:
    old, new = darks(20, 0.0, "2026-09-01 10:00:00"), darks(20, 0.0, "2026-10-05 10:00:00")
    found = chosen(old + new, lights())
    assert [found.age_days, *(other.age_days for other in found.runners_up)] == [6, 40]


def test_on_fixed_pixels_another_limit_holds_and_some_things_cannot_be_won_back() -> None:
    found = chosen(darks(20, 14.0), lights(), "fixed")
    assert found.verdict is Verdict.POOR
    assert found.lights_factor is None
    assert found.time_cost_percent == found.time_cost_percent_fixed
    assert found.time_cost_percent is not None
    assert found.time_cost_percent >= 100.0
    assert "cannot_be_won_back" in codes(found)
    assert "pointing_unknown" not in codes(found)


def test_a_dark_far_too_warm_costs_more_than_none() -> None:
    found = chosen(darks(20, 14.0), lights(), "dithered")
    assert found.verdict is Verdict.POOR
    assert "worse_than_none" in codes(found)


def test_a_scaled_dark_competes_where_there_are_biases_and_says_so() -> None:
    stock = darks(40, 0.0, exposure_s=600.0)
    assert chosen(stock, lights()).verdict is Verdict.MISSING
    found = chosen(stock + biases(), lights())
    assert found.use is Use.SCALE
    assert found.recipe is not None
    assert found.recipe.scale == pytest.approx(0.5)
    assert found.recipe.needs_bias
    assert {"scaled", "exposure_mismatch"} <= codes(found)
    assert found.time_cost_percent is not None


def test_a_sensor_whose_darks_do_not_scale_has_none_scaled() -> None:
    stock = darks(40, 0.0, exposure_s=600.0) + biases()
    (batch,) = batches_of(lights())
    crooked = {(BODY.id, READOUT.key): replace(MODEL, troubles=("glow_not_scaling",))}
    (one,) = match(batch, MemoryStock(stock), Settings(), crooked)
    assert one.darks.verdict is Verdict.MISSING


def test_darks_too_warm_may_be_scaled_to_the_lights() -> None:
    found = chosen(darks(20, 5.0) + biases(), lights(), "fixed")
    assert found.recipe is not None
    assert found.recipe.form == "scaled"
    assert found.recipe.scale == pytest.approx(2.0 ** (-5.0 / 6.5))
    forms = [other.recipe.form for other in found.runners_up if other.recipe is not None]
    assert "exact" in forms


def test_an_unknown_sky_is_assumed_and_said() -> None:
    found = chosen(darks(20, 0.0), lights(level_dn=None))
    assert "sky_unknown" in codes(found)
    assert found.time_cost_percent is not None


def test_an_unmeasured_law_is_assumed_and_said() -> None:
    (batch,) = batches_of(lights())
    half = {(BODY.id, READOUT.key): replace(MODEL, doubling_c=None)}
    (one,) = match(batch, MemoryStock(darks(20, 0.0)), Settings(), half)
    assert "assumed_sensor" in codes(one.darks)
    assert one.darks.time_cost_percent is not None


@pytest.mark.parametrize("lacking", ["read_noise_e", "gain_e_per_dn", "dark_rates"])
def test_a_sensor_measured_in_part_leaves_the_simple_limits(lacking: str) -> None:
    (batch,) = batches_of(lights())
    nothing: dict[str, Any] = {lacking: None}
    part = {(BODY.id, READOUT.key): replace(MODEL, **nothing)}
    (one,) = match(batch, MemoryStock(darks(20, 0.0)), Settings(), part)
    assert "assumed_sensor" in codes(one.darks)
    assert one.darks.time_cost_percent is None


def test_of_another_camera_nothing_is_taken() -> None:
    (batch,) = batches_of(lights())
    (one,) = match(batch, MemoryStock(darks(20, 0.0)), Settings(), {("other", READOUT.key): MODEL})
    assert one.darks.time_cost_percent is None


def test_a_step_that_one_side_does_not_know_is_no_difference() -> None:
    (batch,) = batches_of(lights())
    loose = replace(MODEL, readout=replace(READOUT, dn_step=None))
    (one,) = match(batch, MemoryStock(darks(20, 0.0)), Settings(), {(BODY.id, loose.readout.key): loose})
    assert one.darks.time_cost_percent is not None


def test_lights_without_a_temperature_have_no_price() -> None:
    own = [replace(one, temperature_c=None) for one in lights()]
    found = chosen(darks(20, 0.0), own)
    assert found.verdict is Verdict.POOR
    assert "temperature_unknown" in codes(found)
    assert found.time_cost_percent is None


def test_a_drifting_night_comes_in_parts_and_one_set_is_offered_beside() -> None:
    cold, warm = darks(20, 0.0), darks(20, 9.0, "2026-10-02 10:00:00")
    drift = [9.0 - 9.0 * place / 29 for place in range(30)]
    found = matches(cold + warm, lights(30, drift), "fixed")
    assert [one.darks.temperature_mismatch_c is not None for one in found] == [True, True]
    assert {one.darks.set.temperatures.median_c for one in found if one.darks.set} == {0.0, 9.0}
    assert sum(len(one.lights) for one in found) == 30
    for one in found:
        assert one.single is not None
        assert one.single.time_cost_percent_fixed is not None
        assert one.darks.time_cost_percent_fixed is not None
        assert one.single.time_cost_percent_fixed > one.darks.time_cost_percent_fixed


def test_one_set_that_serves_all_is_no_alternative() -> None:
    (one,) = matches(darks(20, 0.0), lights(), "dithered")
    assert one.single is None


def test_a_median_of_many_costs_more_than_their_mean() -> None:
    """By pi / 2 less what 20 frames fall short of it: 1.469."""
    costs = []
    for method in ("mean", "median"):
        one = frames(
            Kind.DARK, 1, "2026-10-01 10:00:00", exposure_s=300.0, temperature_c=0.0,
            combined=Combined(20, method, False, False),
        )  # fmt: skip
        costs.append(chosen(one, lights(), "fixed").time_cost_percent or 0.0)
    assert costs[1] / costs[0] == pytest.approx(1.46892, rel=1e-3)


def test_limits_can_be_set() -> None:
    strict = Settings(prices=PriceLimits(good_dithered_percent=0.0, usable_dithered_percent=0.0))
    (one,) = matches(darks(12, 0.0), lights(), "dithered", strict)
    assert one.darks.verdict is Verdict.POOR


def test_flats_are_priced_by_their_electrons() -> None:
    flats = frames(Kind.FLAT, 20, "2026-10-11 06:00:00", exposure_s=2.0, temperature_c=0.0, train=TRAIN)
    flats = [replace(one, median_dn=20_500.0) for one in flats]
    (one,) = matches(darks(20, 0.0) + flats, lights(), "dithered")
    # 300 e- of sky squared over 400,000 e- of flats and the variance of a light: sky, dark current, reading, rounding.
    mean_rate = sum(r * n for r, n in zip(RATES.rates_e_s, RATES.pixels, strict=True)) / sum(RATES.pixels)
    variance = 300.0 + 300.0 * mean_rate + 9.0 + 1.0 / 12.0
    assert one.flats.time_cost_percent == pytest.approx(100 * 300.0**2 / 400_000.0 / variance, abs=1e-3)


@given(
    st.lists(
        st.tuples(st.integers(4, 30), st.integers(-120, 120), st.sampled_from((150.0, 300.0, 600.0))),
        min_size=1,
        max_size=6,
    ),
    st.sampled_from(("dithered", "fixed", "unknown")),
)
def test_nothing_priced_is_cheaper_than_what_is_chosen(sets: list[tuple[int, int, float]], pointing: str) -> None:
    stock = biases()
    for place, (many, tenths, exposure_s) in enumerate(sets):
        stock += darks(many, tenths / 10.0, f"2026-0{place + 1}-03 10:00:00", exposure_s)
    found = chosen(stock, lights(), pointing)
    if found.set is None:
        return
    own = found.time_cost_percent
    assert own is not None
    for other in found.runners_up:
        assert other.time_cost_percent is not None
        if pointing != "fixed":
            assert other.time_cost_percent >= own - 0.2 - 1e-6
        elif other.time_cost_percent < own - 2.0:
            # On fixed pixels hot pixels left are no part of the cost; then it leaves more of them.
            assert other.hot_pixels_left_per_megapixel is not None
            assert found.hot_pixels_left_per_megapixel is not None
            assert other.hot_pixels_left_per_megapixel > found.hot_pixels_left_per_megapixel
        assert other.reasons[0].code == "costs_more"
    assert (found.use is Use.SCALE) == (found.recipe is not None and found.recipe.form == "scaled")
    if found.use is Use.SCALE:
        assert "scaled" in codes(found)
