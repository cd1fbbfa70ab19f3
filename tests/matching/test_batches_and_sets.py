"""How frames fall into batches and sets, and what these are called."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from roll import READOUT, biases, body, darks, flats, lights

from darklib.facts.frame import Combined
from darklib.facts.grouping import series_definition, series_id, series_key
from darklib.facts.match import Wanted
from darklib.facts.naming import night_name
from darklib.facts.settings import Limits, Settings
from darklib.facts.units import same_series_exposure
from darklib.matching.batches import batches_of
from darklib.matching.sets import frames_in, sets_of
from darklib.matching.stock import MemoryStock


def spans(sets: list) -> list[tuple[int, float | None, float | None]]:
    return [(one.count, one.temperatures.min_c, one.temperatures.max_c) for one in sets]


def test_lights_part_by_night_target_filter_and_exposure() -> None:
    shot = (
        lights(3)
        + lights(3, "2026-03-11T01:00", exposure_s=60.0)
        + lights(3, "2026-03-11T02:00", filter_="R")
        + lights(3, "2026-03-11T03:00", target="Crab")
        + lights(3, "2026-03-11T21:00")
        + lights(3, "2026-03-11T04:00", body=body("B2"))
    )
    batches = batches_of(shot + darks())
    assert [batch.count for batch in batches] == [3] * 6
    assert [batch.night for batch in batches] == ["2026-03-10"] * 5 + ["2026-03-11"]
    assert len({batch.id for batch in batches}) == 6


def test_a_batch_is_called_as_its_series_and_keeps_its_name_when_lights_join() -> None:
    shot = lights(5)
    (batch,) = batches_of(shot)
    assert batch.id == series_id(series_key(shot[0]), 300.0, "2026-03-10")
    assert batch.id == night_name("2026-03-10", series_definition(shot[0]))
    assert batch.id.startswith("2026-03-10-")
    more = lights(5, "2026-03-11T01:00", exposure_s=300.4)
    assert [one.id for one in batches_of(shot + more)] == [batch.id]
    assert [one.count for one in batches_of(shot + more)] == [10]


def test_lights_that_know_their_series_stay_there() -> None:
    shot = [replace(frame, series="2026-03-10-known") for frame in lights(3)]
    (batch,) = batches_of(shot)
    assert batch.id == "2026-03-10-known"


@given(st.floats(0.0001, 3600), st.floats(0.5, 2.0))
def test_two_series_of_one_key_never_share_a_name(exposure_s: float, factor: float) -> None:
    other_s = exposure_s * factor
    if not same_series_exposure(exposure_s, other_s):
        assert series_id("key", exposure_s, None) != series_id("key", other_s, None)


def test_a_drift_of_exposures_does_not_chain() -> None:
    """300, 305 and 310 s: each is within 2 percent of the one before, and the last is not within 2 percent of the first
    (3.2 percent), which began the series.
    """
    shot = lights(1) + lights(1, "2026-03-10T22:00", exposure_s=305.0) + lights(1, "2026-03-10T23:00", exposure_s=310.0)
    assert [batch.count for batch in batches_of(shot)] == [2, 1]


def test_darks_of_a_cooling_camera_fall_into_spans() -> None:
    """3 frames while the camera still cools, then 20 within half a degree. The span of one degree that holds most is
    taken first: 4.62 to 5.62 holds the 20 and the one at 5.6. 6.4 and 7.9 are further apart than a degree.
    """
    shot = darks(23, temperature_c=[7.9, 6.4, 5.6] + [5.0 - 0.02 * place for place in range(20)])
    assert spans(sets_of(shot, Settings())) == [(1, 7.9, 7.9), (1, 6.4, 6.4), (21, pytest.approx(4.62), 5.6)]


def test_sets_by_set_point_and_what_was_not_settled() -> None:
    """A cooler on its way to -10: two frames at -4 and -7 are not of the set-point's set."""
    shot = darks(12, temperature_c=[-4.0, -7.0] + [-9.8, -10.1] * 5, set_c=-10.0)
    assert [(one.count, one.temperatures.median_c) for one in sets_of(shot, Settings())] == [
        (1, -4.0),
        (1, -7.0),
        (10, pytest.approx(-9.95)),
    ]


def test_frames_without_a_temperature_are_a_set_of_their_own() -> None:
    shot = darks(6, temperature_c=[5.0, None, 5.2])  # type: ignore[list-item]
    assert sorted(spans(sets_of(shot, Settings())), key=str) == [(2, None, None), (4, 5.0, 5.2)]


def test_a_series_lends_its_id_to_its_only_set() -> None:
    shot = darks(12)
    stock = MemoryStock(shot)
    (series,) = stock.wanted(Wanted(kind=shot[0].kind))  # type: ignore[arg-type]
    (one,) = sets_of(shot, Settings())
    assert one.id == series.id
    two = darks(12, temperature_c=[5.0, -10.0])
    assert sorted(one.id for one in sets_of(two, Settings())) == [f"{series.id}-5.0c", f"{series.id}-m10.0c"]


def test_flats_of_evening_and_morning_are_two_sets() -> None:
    shot = flats(10, "2026-03-10T19:30") + flats(10)
    ids = [one.id for one in sets_of(shot, Settings())]
    assert [identity.rsplit("-", 1)[1] for identity in ids] == ["1930z", "0600z"]


def test_combinations_are_sets_of_their_own_and_count_what_they_hold() -> None:
    shot = darks(10) + darks(1, combined=Combined(25, bias_removed=False)) + darks(1, combined=Combined())
    assert sorted(frames_in(one) or -1 for one in sets_of(shot, Settings())) == [-1, 10, 25]


def test_lights_and_retired_frames_are_in_no_set() -> None:
    sets = sets_of(lights() + darks(5, retired=True) + biases(7), Settings())
    assert [(one.kind, one.count) for one in sets] == [("bias", 7)]


@given(st.lists(st.one_of(st.none(), st.floats(-30, 40)), min_size=1, max_size=30), st.floats(0.1, 5))
def test_sets_hold_every_frame_once_within_the_span(values: list[float | None], span_c: float) -> None:
    shot = darks(len(values), temperature_c=values)  # type: ignore[arg-type]
    sets = sets_of(shot, Settings(limits=Limits(set_span_c=span_c)))
    assert sorted(frame.id for one in sets for frame in one.frames) == sorted(frame.id for frame in shot)
    assert len({one.id for one in sets}) == len(sets)
    for one in sets:
        low, high = one.temperatures.min_c, one.temperatures.max_c
        assert (low is None) == (high is None) == (one.temperatures.unknown == one.count)
        assert low is None or high is None or high - low <= span_c + 1e-6


def test_the_stock_answers_as_wanted() -> None:
    near = darks(5, temperature_c=5.0)
    far = darks(5, temperature_c=20.0, start="2026-03-02T20:00")
    unknown = darks(5, temperature_c=None, start="2026-03-03T20:00")
    nobody = darks(5, body=None, start="2026-03-04T20:00", exposure_s=60.0)
    stock = MemoryStock(near + far + unknown + nobody + lights() + darks(5, retired=True, exposure_s=1.0))
    kind = near[0].kind
    assert kind is not None

    def nights(wanted: Wanted) -> list[str | None]:
        return [series.night for series in stock.wanted(wanted)]

    assert nights(Wanted(kind)) == ["2026-03-04", "2026-03-03", "2026-03-02", "2026-03-01"]
    assert nights(Wanted(kind, near=near[0].taken_at, limit=2)) == ["2026-03-01", "2026-03-02"]
    assert nights(Wanted(kind, temperature_low_c=4.0, temperature_high_c=6.0)) == [
        "2026-03-04",
        "2026-03-03",
        "2026-03-01",
    ]
    assert nights(Wanted(kind, exposure_low_s=200.0)) == ["2026-03-03", "2026-03-02", "2026-03-01"]
    assert nights(Wanted(kind, body_id=body("B2").id)) == ["2026-03-04"]
    assert READOUT.key == stock.wanted(Wanted(kind))[0].readout.key
