"""Odd frames are left out of a match and listed; a frame away from its set-point is in no set of that set-point.

Limits: common practice, no single source.
"""

from __future__ import annotations

from dataclasses import replace

from roll import biases, darks, flats, lights

from darklib.facts.frame import Frame
from darklib.facts.match import Match, Verdict
from darklib.facts.settings import Settings
from darklib.matching.batches import batches_of
from darklib.matching.choose import match_all
from darklib.matching.odd import without_odd
from darklib.matching.sets import sets_of
from darklib.matching.stock import MemoryStock


def only(*shot: list[Frame]) -> Match:
    stock = [frame for frames in shot for frame in frames]
    (one,) = match_all(batches_of(stock), MemoryStock(stock), Settings())
    return one


def figured(frames: list[Frame], level_dn: float = 520.0) -> list[Frame]:
    """The frames with levels and noise as they scatter."""
    return [
        replace(frame, median_dn=level_dn + 0.5 * (place % 2), mad_dn=10.0 + 0.05 * (place % 3))
        for place, frame in enumerate(frames)
    ]


def test_an_odd_dark_is_left_out_and_listed() -> None:
    """Of 20 darks one has a level three times its noise above the others': 19 are handed over, good all the same."""
    shot = figured(darks())
    shot[7] = replace(shot[7], median_dn=550.0)
    one = only(lights(), shot).darks
    assert one.verdict is Verdict.GOOD
    assert one.set is not None
    assert one.set.count == 19
    assert shot[7] not in one.set.frames
    (told,) = [reason for reason in one.reasons if reason.code == "odd_frame"]
    assert shot[7].id in told.text
    (miss,) = [miss for miss in one.near_misses if miss.failed == "odd_frame"]
    assert miss.set.frames == (shot[7],)


def test_odd_biases_and_flats_likewise() -> None:
    """A bias with twice the noise, a flat of half the level."""
    dim, noisy = figured(flats(), 20_000.0), figured(biases(), 500.0)
    dim[3] = replace(dim[3], median_dn=9_000.0)
    noisy[5] = replace(noisy[5], mad_dn=21.0)
    for frames, odd in ((dim, dim[3]), (noisy, noisy[5])):
        (found,) = sets_of(frames, Settings())
        kept, apart, _ = without_odd(found)
        assert kept.count == 19
        assert apart is not None
        assert apart.frames == (odd,)


def test_four_frames_and_frames_without_figures_are_all_kept() -> None:
    four = figured(darks(4))
    four[0] = replace(four[0], median_dn=900.0)
    for frames in (four, [replace(one, median_dn=None, mad_dn=None) for one in darks(20)]):
        (found,) = sets_of(frames, Settings())
        assert without_odd(found) == (found, None, ())


def test_half_a_degree_from_the_set_point_is_the_limit() -> None:
    """-9.5 of -10 belongs to the set, -9.4 was shot before the cooler had got there."""
    shot = darks(12, temperature_c=[-9.4, -9.5] + [-10.0] * 10, set_c=-10.0)
    assert sorted(one.count for one in sets_of(shot, Settings())) == [1, 11]
    one = only(lights(temperature_c=-9.4), [replace(frame, temperature_c=-9.4) for frame in shot]).darks
    assert "not_at_set_point" in {reason.code for reason in one.reasons}
