"""A camera measured set by set: full well, readings without biases or flats, temperatures unknown, what is advised."""

import numpy as np
import pytest

from darklib.facts.frame import Readout
from darklib.facts.sensor import Value
from darklib.pixels.mosaic import MONO
from darklib.sensor.dark_set import dark_set
from darklib.sensor.measuring import Measuring, SetOf, hot_history
from darklib.sensor.pile import pile_of
from scripts.studies.sensor import BODY

SHAPE = (96, 144)
GAIN, NOISE, OFFSET, TOP = 2.0, 6.0, 300.0, 4095


def frame(rng: np.random.Generator, electrons: float | np.ndarray) -> np.ndarray:
    seen = rng.poisson(np.broadcast_to(electrons, SHAPE)) + NOISE * rng.standard_normal(SHAPE)
    return np.clip(np.rint(seen / GAIN + OFFSET), 0, TOP).astype(np.uint16)


def named(name: str, count: int, exposure_s: float | None, temperature_c: float | None = 0.0) -> SetOf:
    return SetOf(name, tuple(f"{name}{n}" for n in range(count)), exposure_s, temperature_c, "2026-10-03")


def fresh(assumed: Value | None = None) -> Measuring:
    return Measuring(BODY, Readout(gain=0.0, width=144, height=96, dn_step=1), MONO, 12, assumed)


def with_biases(rng: np.random.Generator, assumed: Value | None = None) -> Measuring:
    made = fresh(assumed)
    made.bias(named("bias", 12, 0.0), [frame(rng, 0.0) for _ in range(12)])
    return made


def test_the_full_well_is_told_where_flats_reach_it() -> None:
    rng = np.random.default_rng(1)
    made = with_biases(rng)
    for number, level in enumerate((1500.0, 4000.0, 7000.0, 12_000.0)):
        made.flat(named(f"flat{number}", 4, 1.0), [frame(rng, level) for _ in range(4)])
    model = made.model()
    assert model.full_well_e is not None
    # The converter ends at 4095, 3795 above the offset.
    assert model.full_well_e.value == pytest.approx(3795 * GAIN, rel=0.01)
    assert model.gain_e_per_dn is not None
    assert model.gain_e_per_dn.value == pytest.approx(GAIN, rel=0.02)
    assert not any("nearly full" in said for said in model.advice)


def test_without_biases_nothing_is_invented() -> None:
    rng = np.random.default_rng(2)
    made = fresh()
    made.flat(named("flat", 4, 1.0), [frame(rng, 3000.0) for _ in range(4)])
    made.dark(named("dark", 4, 120.0), [frame(rng, 20.0) for _ in range(4)])
    model = made.model()
    assert (model.bias_dn, model.gain_e_per_dn, model.read_noise_e, model.dark_current) == (None, None, None, ())
    assert len(model.left_out) == 8
    assert "biases" in model.advice[0]


def test_darks_without_exposure_to_speak_of_serve_as_biases() -> None:
    rng = np.random.default_rng(3)
    made = fresh()
    made.dark(named("short", 10, 0.001), [frame(rng, 0.0) for _ in range(10)])
    model = made.model()
    assert model.bias_dn is not None
    assert model.bias_dn.value == pytest.approx(OFFSET, abs=0.1)
    assert model.frames_used["bias"] == 10


def test_without_flats_levels_are_told_in_dn_and_nothing_in_electrons() -> None:
    rng = np.random.default_rng(4)
    model = with_biases(rng).model()
    assert model.read_noise_dn is not None
    assert model.read_noise_dn.value == pytest.approx(NOISE / GAIN, rel=0.02)
    assert model.read_noise_e is None
    lent = with_biases(rng, Value(2.0, 0.1)).model()
    assert lent.gain_assumed
    assert lent.read_noise_e is not None
    assert lent.read_noise_e.value == pytest.approx(NOISE, rel=0.02)
    assert lent.read_noise_e.error is not None
    assert lent.read_noise_e.error > 0.04 * NOISE


def test_darks_of_unknown_temperature_tell_no_dark_current_and_are_asked_about() -> None:
    rng = np.random.default_rng(5)
    made = with_biases(rng, Value(2.0, 0.01))
    made.dark(named("dark", 6, 120.0, None), [frame(rng, 40.0) for _ in range(6)])
    model = made.model()
    assert model.dark_current == ()
    assert any("temperature of the 6 darks" in said for said in model.advice)


def test_hot_pixels_over_the_years_are_counted_above_one_rate_whatever_the_exposure() -> None:
    rng = np.random.default_rng(6)
    zero = pile_of([frame(rng, 0.0) for _ in range(12)], MONO)
    rates = np.full(SHAPE, 0.05)
    places = rng.choice(rates.size, 120, replace=False)
    rates.ravel()[places] += 0.5 * (1.0 + rng.pareto(1.0, 120))

    def of(night: str, exposure_s: float, temperature_c: float, more: int) -> object:
        now = rates.copy()
        now.ravel()[rng.choice(now.size, more, replace=False)] += 20.0
        dark = [frame(rng, now * 2.0 ** (temperature_c / 6.5) * exposure_s) for _ in range(8)]
        return dark_set(
            night,
            pile_of(dark, MONO),
            zero,
            exposure_s=exposure_s,
            temperature_c=temperature_c,
            night=night,
            rows_of_band=12,
        )

    sets = [of("2026-10-03", 300.0, 0.0, 0), of("2027-10-03", 120.0, 6.0, 0), of("2028-10-03", 300.0, 0.0, 40)]
    counts = [one.value.value * rates.size / 1e6 for one in hot_history(sets)]  # type: ignore[arg-type]
    assert len(counts) == 3
    assert counts[1] == pytest.approx(counts[0], abs=8)
    assert counts[2] == pytest.approx(counts[0] + 40, abs=8)
