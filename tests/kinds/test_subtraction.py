"""The camera's own dark taken off: one witness is worth a look, two are believed, clean twins are not accused.

Figures and their limits: common practice, no single source. The square root of two is that of a difference of two
frames with equal noise (EMVA Standard 1288, release 4.0, section on temporal noise from pairs of images).
"""

from dataclasses import replace

import numpy as np
import pytest
from shown import START, candidate, facts, pixels

from darklib.facts.codes import WARNINGS
from darklib.facts.frame import FrameRecord, Kind
from darklib.facts.resolve import frame_of
from darklib.facts.settings import Settings
from darklib.kinds.groups import decide
from darklib.kinds.subtraction import subtractions
from darklib.matching.batches import batches_of
from darklib.matching.choose import match
from darklib.matching.stock import MemoryStock
from darklib.pixels.measure import measure
from darklib.scenario.camera import Camera, DarkLaw, Readout

NOISE = 8.0
BIASES = [
    candidate(facts(0.0, frame=n, pause_s=5.0), pixels(800, NOISE, points_low=0.0, points_high=1e-5)) for n in range(3)
]
HOT = {"points_low": 1e-6, "points_high": 2e-3}
HOLED = {"points_low": 8e-4, "points_high": 1e-3}
QUIET = {"points_low": 0.0, "points_high": 5e-5}


def series(pause_s, noise=NOISE, count=5, **figures):
    """Darks of two minutes, `pause_s` from the end of one to the start of the next, after the biases."""
    darks = [
        candidate(facts(120.0, frame=n + 1, pause_s=pause_s), pixels(801, noise, **(figures or HOT)))
        for n in range(count)
    ]
    return [*BIASES, *darks]


def codes(members):
    found = decide(members)[len(BIASES) :]
    assert all(decision.kind is Kind.DARK for decision in found)
    for decision in found:
        assert all(warning.text == WARNINGS[warning.code] for warning in decision.warnings)
    return {code for decision in found for code in [w.code for w in decision.warnings] or [None]}


@pytest.mark.parametrize(
    ("members", "expected"),
    [
        (series(5.0), None),
        (series(124.0), "perhaps_subtracted"),
        (series(5.0, NOISE * 2**0.5, **QUIET), "perhaps_subtracted"),
        (series(5.0, **HOLED), "perhaps_subtracted"),
        (series(124.0, NOISE * 2**0.5, **QUIET), "in_camera_subtraction"),
        (series(124.0, **HOLED), "in_camera_subtraction"),
        (series(5.0, NOISE * 2**0.5, points_low=2e-4, points_high=2e-4), "in_camera_subtraction"),
    ],
    ids=["plain", "spaced", "noisy", "holes", "spaced and noisy", "spaced and holes", "noisy and holes"],
)
def test_one_witness_is_worth_a_look_and_two_are_believed(members, expected):
    assert codes(members) == {expected}


def test_a_warm_sensor_is_noisy_and_not_accused_for_it():
    assert codes(series(5.0, NOISE * 2**0.5, **HOT)) == {None}


@pytest.mark.parametrize("pause_s", [5.0, 100.0, 170.0, 600.0])
def test_pauses_of_another_length_are_no_witness(pause_s):
    assert codes(series(pause_s)) == {None}


def test_a_broken_series_is_no_witness():
    members = series(124.0, count=6)
    broken = [*members[:6], *(replace(m, facts=replace(m.facts, taken_at=None)) for m in members[6:])]
    assert codes(broken) == {None}


def test_a_low_side_that_is_cut_off_is_a_witness_unless_the_camera_always_cuts():
    def cut(member):
        return replace(member, pixels=replace(member.pixels, min_dn=member.pixels.median_dn - NOISE))

    members = series(5.0)
    assert codes([*BIASES, *map(cut, members[3:])]) == {"perhaps_subtracted"}
    assert codes([*map(cut, BIASES), *map(cut, members[3:])]) == {None}


def test_a_file_that_says_off_needs_two_to_be_doubted_and_one_that_says_on_needs_none():
    def said(members, value):
        return [replace(m, facts=replace(m.facts, in_camera_subtraction=value)) for m in members]

    assert codes(said(series(124.0), False)) == {None}
    assert codes(said(series(124.0, **HOLED), False)) == {"perhaps_subtracted"}
    # The reader's own warning tells it; the frame is excluded by what the file says.
    assert codes(said(series(124.0, **HOLED), True)) == {None}


def test_a_simulated_dark_with_another_taken_off_is_found_and_the_plain_one_is_not():
    camera = Camera(
        "Pellwick", "Pellwick P4", "S1", 300, 200, (Readout(800, 0.5, 3.0, 512.0),),
        DarkLaw(0.05, hot_fraction=0.01, hot_least_at_zero_e_per_s=0.3), cfa="RGGB", level_held_on_chip=True, seed=4,
    )  # fmt: skip
    rng = np.random.default_rng(11)

    def member(exposure_s, number, off):
        data = camera.expose(exposure_s, 10.0, 800, rng)
        if off:
            own = camera.expose(exposure_s, 10.0, 800, rng)
            data = np.clip(data.astype(int) - own + 512, 0, camera.white_dn).astype(np.uint16)
        told = {"cfa": "RGGB", "cfa_rows": 2, "cfa_columns": 2, "black_dn": 512.0, "white_dn": 16383.0, "bits": 14}
        pause_s = exposure_s + 2.0 if off else 2.0
        seen = measure(data, **told)
        return candidate(facts(exposure_s, frame=number + 1, pause_s=pause_s, **told), seen)

    short = [member(0.001, number, False) for number in range(2)]
    for off in (True, False):
        darks = [member(120.0, number, off) for number in range(4)]
        found = decide([*short, *darks])
        assert [decision.kind for decision in found[2:]] == [Kind.DARK] * 4
        warned = subtractions([*short, *darks], found)
        assert {w.code for w in warned.values()} == ({"in_camera_subtraction"} if off else set())
        assert len(warned) == (4 if off else 0)


def test_two_witnesses_keep_the_frame_out_of_every_match():
    def record(number, member, decision):
        sha = f"{number:064x}"
        return FrameRecord(
            sha, 1, f"{number}.fits", False, member.facts, member.pixels, decision, "Etc/UTC", "", START
        )  # fmt: skip

    def choices(darks):
        lights = [
            candidate(
                facts(120.0, frame=900 + n, serial="1", target="Field 7", sensor_temperature_c=5.0, bits=16),
                pixels(900, 9.0, stars=200.0, plain_stars=150.0, star_peak_dn=4000.0, star_median_dn=200.0),
            )
            for n in range(3)
        ]
        members = [replace(m, facts=replace(m.facts, serial="1", sensor_temperature_c=5.0)) for m in [*darks, *lights]]
        frames = [
            frame_of(record(number, *both))
            for number, both in enumerate(zip(members, decide(members), strict=True), start=1)
        ]
        (batch,) = batches_of(frames)
        return match(batch, MemoryStock(frames), Settings())[0].darks, frames

    plain, frames = choices(series(5.0))
    assert plain.set is not None
    assert not any(frame.in_camera_subtraction for frame in frames)
    doubted, frames = choices(series(124.0))
    assert doubted.set is not None
    assert not any(frame.in_camera_subtraction for frame in frames)
    believed, frames = choices(series(124.0, **HOLED))
    assert believed.set is None
    assert [near.failed for near in believed.near_misses] == ["in_camera_subtraction"]
    assert sum(frame.in_camera_subtraction is True for frame in frames) == 5
