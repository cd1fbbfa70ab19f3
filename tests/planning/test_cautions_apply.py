"""The cautions: those that apply, and no others."""

from __future__ import annotations

import pytest
from roll import biases, body, darks, flats, lights

from darklib.facts.frame import Frame
from darklib.facts.settings import Camera, Settings
from darklib.matching.batches import batches_of
from darklib.matching.choose import match_all
from darklib.matching.stock import MemoryStock
from darklib.planning.cautions import cautions, dew_point_c, rewarming
from darklib.planning.gaps import gaps_of
from darklib.planning.shooting_plan import plan_of

WORDS = {
    "flats": "near the Sun",
    "fridge": "Camera in a fridge",
    "rewarm": "dew point",
    "freezer": "kitchen freezer",
    "cooled": "own cooler",
    "batteries": "Lithium batteries",
    "dry ice": "Dry ice",
    "manual": "the maker's manual and local rules come first",
}


def told(*shot: list[Frame], settings: Settings = Settings()) -> set[str]:  # noqa: B008 (frozen)
    stock = [frame for frames in shot for frame in frames]
    gaps = gaps_of(match_all(batches_of(stock), MemoryStock(stock), settings), settings)
    texts = cautions(gaps, plan_of(gaps, settings), settings)
    assert len(set(texts)) == len(texts)
    return {name for name, words in WORDS.items() if any(words in text for text in texts)}


def test_nothing_to_shoot_nothing_to_mind() -> None:
    assert told(lights(), darks(), flats(), biases()) == set()


def test_flats() -> None:
    assert told(lights(), darks(), biases()) == {"flats", "manual"}


def test_biases_alone_need_no_fridge() -> None:
    assert told(lights(), darks(), flats()) == {"manual"}


def test_darks_of_an_uncooled_camera() -> None:
    assert told(lights(), flats(), biases()) == {"fridge", "rewarm", "batteries", "dry ice", "manual"}


def test_darks_below_what_a_fridge_reaches() -> None:
    assert "freezer" in told(lights(temperature_c=-8.0), flats(), biases())
    # Even a lower limit from the manual leaves the caution: the fridge's own cold does not reach that far.
    stated = Settings(cameras={body().id: Camera(lowest_c=-10.0)})
    assert "freezer" in told(lights(temperature_c=-8.0), flats(), biases(), settings=stated)


def test_a_cooled_camera_stays_out_of_the_fridge() -> None:
    assert told(lights(temperature_c=-10.0, set_c=-10.0), flats(), biases()) == {"cooled", "manual"}


def test_a_cooled_and_an_uncooled_camera() -> None:
    other = body("B2")
    found = told(lights(set_c=5.0), lights(body=other), flats(), flats(body=other), biases(), biases(body=other))
    assert {"cooled", "fridge"} <= found


# Alduchov & Eskridge 1996, J. Appl. Meteor. 35: Td = 243.04 g / (17.625 - g), g = ln(RH/100) + 17.625 T / (243.04 + T).
# The paper was not at hand: coefficients and the four values, to their two digits, are from memory.
@pytest.mark.parametrize(
    ("temperature_c", "humidity", "expected_c"), [(20, 50, 9.26), (25, 60, 16.70), (22, 40, 7.78), (30, 80, 26.17)]
)
def test_dew_point(temperature_c: float, humidity: float, expected_c: float) -> None:
    assert dew_point_c(temperature_c, humidity) == pytest.approx(expected_c, abs=0.01)


def test_the_dew_point_of_saturated_air_is_its_temperature() -> None:
    assert dew_point_c(12.0, 100.0) == pytest.approx(12.0)
    for impossible in (0.0, -5.0, 101.0):
        with pytest.raises(ValueError, match="humidity"):
            dew_point_c(20.0, impossible)


def test_the_room_it_was_worked_out_for_is_told() -> None:
    assert "9.3 C in a room of 20 C at 50 percent humidity" in rewarming()


def test_darks_for_lights_of_unknown_temperature_may_end_in_a_fridge() -> None:
    assert told(lights(temperature_c=None), flats(), biases()) == {"fridge", "rewarm", "batteries", "dry ice", "manual"}
