"""A plan followed: by hand, and whatever order its frames come in."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from roll import READOUT, at, body, darks

from darklib.facts.frame import Frame, Kind
from darklib.facts.plan import Step
from darklib.planning.following import SETTLED_C_PER_MINUTE, slope_of, so_far


def step(exposure_s: float, low_c: float | None, high_c: float | None, frames: int, kind: Kind = Kind.DARK) -> Step:
    middle_c = None if low_c is None or high_c is None else (low_c + high_c) / 2
    return Step(kind, body(), READOUT, exposure_s, middle_c, frames, 10.0, 5, low_c=low_c, high_c=high_c)


STEPS = (step(300.0, 8.0, 10.0, 4), step(60.0, 8.0, 10.0, 2), step(300.0, 3.0, 5.0, 3))


def cooling(start: str, temperatures_c: list[float], exposure_s: float = 300.0) -> list[Frame]:
    return darks(len(temperatures_c), start, exposure_s=exposure_s, temperature_c=temperatures_c, every_s=305.0)


def test_frames_are_ticked_off_by_hand() -> None:
    """Two at 12 and 11 C are too warm; 9.8, 9.2 and 8.9 C count for step 1, which wants four: it is still on."""
    now = so_far(STEPS, cooling("2026-10-03T20:00:00", [12.0, 11.0, 9.8, 9.2, 8.9]))
    assert [one.counted for one in now.steps] == [3, 0, 0]
    assert now.now == 1
    assert now.reading_c == 8.9
    assert now.inside is True
    assert now.not_counted == (("temperature", 2),)


def test_settled_is_slow_and_inside() -> None:
    """Readings 305 s apart: 9.2, 9.0, 8.9 fall by 0.03 degrees a minute over the last ten minutes; 12 to 8 by 0.4."""
    slow = so_far(STEPS, cooling("2026-10-03T20:00:00", [9.2, 9.0, 8.9]))
    assert slow.slope_c_per_minute == pytest.approx(-0.3 / (610 / 60), rel=1e-6)
    assert slow.settled is True
    fast = so_far(STEPS, cooling("2026-10-03T20:00:00", [14.0, 12.0, 9.0]))
    assert fast.inside is True
    assert fast.settled is False
    outside = so_far(STEPS, cooling("2026-10-03T20:00:00", [12.0, 12.0, 12.0]))
    assert (outside.inside, outside.settled) == (False, False)
    assert so_far(STEPS, cooling("2026-10-03T20:00:00", [9.0, 9.0])).settled is False


def test_the_slope_is_that_of_a_straight_line() -> None:
    """0.1 degrees a minute exactly is not below the limit; a constant reading is."""
    begin = at("2026-10-03T20:00:00")
    line = [(begin + timedelta(minutes=m), 20.0 - SETTLED_C_PER_MINUTE * m) for m in range(0, 30, 2)]
    assert slope_of(line) == pytest.approx(-SETTLED_C_PER_MINUTE)
    assert slope_of([(moment, 5.0) for moment, _ in line]) == 0.0
    assert slope_of(line[:2]) is None
    assert slope_of([(begin + timedelta(seconds=s), 5.0) for s in range(5)]) is None


def test_when_a_step_is_full_the_next_is_on_and_more_is_spare() -> None:
    shot = cooling("2026-10-03T20:00:00", [9.0] * 6)
    now = so_far(STEPS, shot)
    assert [(one.counted, one.spare) for one in now.steps] == [(4, 2), (0, 0), (0, 0)]
    assert now.now == 2
    shot += cooling("2026-10-03T21:00:00", [9.0] * 2, exposure_s=60.0)
    assert so_far(STEPS, shot).now == 3
    shot += cooling("2026-10-03T22:00:00", [4.0] * 3)
    done = so_far(STEPS, shot)
    assert done.now is None
    assert all(one.done for one in done.steps)


def test_other_cameras_settings_and_kinds_do_not_count() -> None:
    own = cooling("2026-10-03T20:00:00", [9.0])[0]
    others = [
        replace(own, sha256="b" * 64, readout=replace(READOUT, gain=0.0)),
        replace(own, sha256="c" * 64, body=body("Z9")),
        replace(own, sha256="d" * 64, kind=Kind.LIGHT),
        replace(own, sha256="e" * 64, exposure_s=30.0),
        replace(own, sha256="f" * 64, temperature_c=None, set_temperature_c=None),
    ]
    now = so_far(STEPS, [own, *others])
    assert [one.counted for one in now.steps] == [1, 0, 0]
    assert dict(now.not_counted) == {"other": 4, "temperature": 1}
    assert [one.counted for one in so_far(STEPS, [replace(own, kind=None)]).steps] == [1, 0, 0]


@settings(max_examples=60)
@given(st.data())
def test_late_doubled_and_disordered_files_change_nothing(data: st.DataObject) -> None:
    """The same frames in any order, some of them twice, some seen only after the others: one outcome, that of their
    recorded times; and never more is counted than was asked for.
    """
    values = data.draw(st.lists(st.integers(0, 14), min_size=1, max_size=14))
    exposures = data.draw(st.lists(st.sampled_from([60.0, 300.0]), min_size=len(values), max_size=len(values)))
    begin = at("2026-10-03T20:00:00")
    shot = []
    for place, (value, exposure) in enumerate(zip(values, exposures, strict=True)):
        (frame,) = darks(1, "2026-10-03T20:00:00", exposure_s=exposure, temperature_c=float(value))
        moment = begin + timedelta(minutes=5 * data.draw(st.integers(0, 20)), seconds=place)
        shot.append(replace(frame, taken_at=moment))
    straight = so_far(STEPS, sorted(shot, key=lambda frame: frame.taken_at or begin))
    mixed = data.draw(st.permutations(shot))
    twice = data.draw(st.lists(st.sampled_from(shot), max_size=5))
    assert so_far(STEPS, [*mixed, *twice]) == straight
    for one in straight.steps:
        assert 0 <= one.counted <= one.step.frames
    inside = sum(one.counted + one.spare for one in straight.steps) + sum(n for _, n in straight.not_counted)
    assert inside == len(shot)
