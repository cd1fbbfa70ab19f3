"""Odd frames in a set: found where they matter, none named where frames merely scatter. Limits: common practice."""

import random
from dataclasses import replace

import pytest

from darklib.sensor.odd_frames import FrameFigures, odd_frames


def usual(count: int, seed: int = 1, drift: float = 0.0) -> list[FrameFigures]:
    rng = random.Random(seed)
    return [
        FrameFigures(
            str(n), 500.0 + rng.gauss(0, 0.3) + drift * n, 10.0 + rng.gauss(0, 0.05), 800 + rng.gauss(0, 20),
            1.0 + rng.gauss(0, 0.02), -10.0 + rng.gauss(0, 0.1), -10.0,
        )
        for n in range(count)
    ]  # fmt: skip


@pytest.mark.parametrize("count", [5, 6, 10, 20])
def test_ordinary_sets_have_none(count: int) -> None:
    assert [odd for seed in range(200) for odd in odd_frames(usual(count, seed))] == []


def test_a_series_that_drifts_has_none() -> None:
    assert odd_frames(usual(20, drift=2.0)) == []


@pytest.mark.parametrize(
    ("field", "value", "word"),
    [
        ("level_dn", 530.0, "level"),
        ("noise_dn", 14.0, "noise"),
        ("hot", 2000.0, "hot pixels"),
        ("pattern", 0.5, "pattern"),
    ],
)
@pytest.mark.parametrize("count", [5, 12])
def test_one_that_differs_is_named_with_what_differs(field: str, value: float, word: str, count: int) -> None:
    frames = usual(count)
    frames[2] = replace(frames[2], **{field: value})  # type: ignore[arg-type]
    (odd,) = odd_frames(frames)
    assert (odd.name, odd.code) == ("2", "odd_frame")
    assert word in odd.what


def test_four_frames_cannot_tell_and_a_set_of_two_halves_has_no_odd_ones() -> None:
    four = usual(4)
    four[0] = replace(four[0], level_dn=900.0)
    assert odd_frames(four) == []
    halves = [replace(one, level_dn=900.0) if place % 2 else one for place, one in enumerate(usual(10))]
    assert odd_frames(halves) == []


def test_past_half_a_degree_from_the_set_point_it_was_not_there_yet() -> None:
    frames = usual(3)
    frames[0] = replace(frames[0], temperature_c=-8.8)
    frames[1] = replace(frames[1], temperature_c=-9.5)
    (odd,) = odd_frames(frames)
    assert (odd.name, odd.code, odd.what) == ("0", "not_at_set_point", "+1.2 degrees from its set-point")


def test_flats_may_follow_the_light() -> None:
    flats = [replace(one, level_dn=20_000.0 + 400.0 * place, noise_dn=140.0) for place, one in enumerate(usual(8))]
    assert odd_frames(flats, lit=True) == []
    flats[3] = replace(flats[3], level_dn=9_000.0)
    assert [odd.name for odd in odd_frames(flats, lit=True)] == ["3"]


def test_what_is_not_known_is_no_reason() -> None:
    assert odd_frames([FrameFigures(str(n)) for n in range(8)]) == []


def test_whole_medians_one_step_apart_are_alike() -> None:
    """A level halfway between two numbers gives either as the median."""
    for step in (1.0, 4.0, 16.0):
        levels = [300.0, 300.0, 300.0, 300.0 + step, 300.0, 300.0 + step]
        noises = [step, step, step, 2 * step, step, step]
        pairs = list(zip(levels, noises, strict=True))
        frames = [FrameFigures(str(n), level, noise, step_dn=step) for n, (level, noise) in enumerate(pairs)]
        assert odd_frames(frames) == []
        frames[3] = FrameFigures("3", 300.0 + 4 * step, step, step_dn=step)
        assert [one.name for one in odd_frames(frames)] == ["3"]
