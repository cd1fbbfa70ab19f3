"""A gap's interval where the sensor is measured: exactly where the verdict of a match turns, each side by itself."""

from __future__ import annotations

from dataclasses import replace

import pytest
from roll import BODY, READOUT, TRAIN, frames

from darklib.facts.frame import Frame, Kind
from darklib.facts.match import Match, Verdict
from darklib.facts.sensor import DarkRates, SensorModel, Value
from darklib.facts.settings import Settings
from darklib.matching.batches import batches_of
from darklib.matching.choose import match
from darklib.matching.stock import MemoryStock
from darklib.planning.gaps import gaps_of
from darklib.planning.needs import needs_of
from darklib.planning.reach import FARTHEST_C, by_limits, by_price

MODEL = SensorModel(
    BODY,
    READOUT,
    bias_dn=Value(500.0, 0.1),
    read_noise_e=Value(3.0, 0.1),
    gain_e_per_dn=Value(1.0, 0.01),
    doubling_c=Value(6.0, 0.1),
    hot_doubling_c=Value(6.5, 0.1),
    dark_rates=DarkRates(
        0.0,
        (0.02, 0.03, 0.04, 0.1, 0.3, 1.0),
        (300_000, 400_000, 298_000, 1_500, 400, 100),
        0.4,
    ),
    level_held=True,
)
MODELS = {(BODY.id, READOUT.key): MODEL}


def lights(temperature_c: float | list[float] = 0.0) -> list[Frame]:
    made = frames(
        Kind.LIGHT, 20, "2026-10-10 21:00:00", exposure_s=300.0, temperature_c=temperature_c, train=TRAIN, filter_="L"
    )
    return [replace(one, median_dn=800.0) for one in made]


def matched(own: list[Frame], dark_c: float | None, pointing: str) -> Match:
    stock = [] if dark_c is None else frames(
        Kind.DARK, 20, "2026-10-01 10:00:00", exposure_s=300.0, temperature_c=dark_c
    )  # fmt: skip
    (batch,) = batches_of(own)
    (one,) = match(replace(batch, pointing=pointing), MemoryStock(stock), Settings(), MODELS)
    return one


@pytest.mark.parametrize("pointing", ["dithered", "fixed"])
def test_the_interval_ends_where_the_match_is_not_good_any_more(pointing: str) -> None:
    """A dark half a degree inside either end is good for the matcher, one beyond is not: the two know nothing of each
    other but the price.
    """
    own = lights()
    low_c, high_c = by_price(Settings(), MODELS)(matched(own, None, pointing))(0.0)
    assert -FARTHEST_C <= low_c < 0.0 < high_c <= FARTHEST_C
    for edge_c, out in ((low_c, -1.0), (high_c, 1.0)):
        if abs(edge_c) > 0.6:
            assert matched(own, edge_c - 0.2 * out, pointing).darks.verdict is Verdict.GOOD
        if abs(edge_c) < FARTHEST_C:
            beyond = matched(own, edge_c + 0.3 * out, pointing).darks
            assert beyond.recipe is not None
            assert beyond.recipe.form == "scaled" or beyond.verdict is not Verdict.GOOD


def test_too_warm_a_dark_costs_more_than_too_cold_a_one() -> None:
    low_c, high_c = by_price(Settings(), MODELS)(matched(lights(), None, "dithered"))(0.0)
    assert high_c < -low_c


def test_a_gap_has_that_interval() -> None:
    own = lights()
    one = matched(own, None, "dithered")
    low_c, high_c = by_price(Settings(), MODELS)(one)(0.0)
    (gap,) = [gap for gap in gaps_of([one], Settings(), reach_of=by_price(Settings(), MODELS)) if gap.role == "dark"]
    assert gap.interval is not None
    assert (gap.interval.low_c, gap.interval.high_c) == (pytest.approx(low_c), pytest.approx(high_c))
    assert gap.interval.shoot_at_c == 0.0


def test_lights_that_drift_are_served_by_what_serves_the_warmest_and_the_coldest() -> None:
    own = lights([-1.0, 0.0, 1.0])
    reach_of = by_price(Settings(), MODELS)
    one = matched(own, None, "dithered")
    reach = reach_of(one)
    needs = [need for need in needs_of(one, Settings(), reach_of) if need.role == "dark"]
    for need in needs:
        values = [light.temperature_c for light in need.lights if light.temperature_c is not None]
        assert need.interval is not None
        assert need.interval.low_c == pytest.approx(reach(max(values))[0], abs=0.011)
        assert need.interval.high_c == pytest.approx(reach(min(values))[1], abs=0.011)


def test_until_the_sensor_is_measured_it_is_two_degrees() -> None:
    one = matched(lights(5.0), None, "dithered")
    assert by_price(Settings())(one)(5.0) == (3.0, 7.0) == by_limits(Settings())(one)(5.0)
