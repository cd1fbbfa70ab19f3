"""A frame of another size or readout amid a series is told; two series shot on purpose are not accused."""

from dataclasses import replace
from datetime import timedelta

import pytest
from shown import candidate, facts, pixels

from darklib.facts.frame import Kind
from darklib.kinds.groups import decide


def shot(kind, count, first=0, exposure_s=60.0, **more):
    level = 20_000 if kind is Kind.FLAT else 801
    return [
        candidate(
            replace(facts(exposure_s, frame=first + n, **more), kind=kind), pixels(level, 150 if level > 900 else 8)
        )
        for n in range(count)
    ]


def odd(members):
    return [
        {**warning.figures}
        for decision in decide(members)
        for warning in decision.warnings
        if warning.code == "odd_in_series"
    ]


@pytest.mark.parametrize(
    ("different", "name"),
    [({"width": 600, "height": 400}, "size"), ({"gain": 200.0}, "gain"), ({"binning": (2, 2)}, "binning")],
)
def test_one_that_differs_is_told_and_the_clean_twin_is_not(different, name):
    usual = {"gain": 100.0, "binning": (1, 1), "width": 1200, "height": 800}
    members = shot(Kind.DARK, 9, **usual)
    assert odd(members) == []
    members[4] = replace(members[4], facts=replace(members[4].facts, **different))
    assert odd(members) == [{"frames": 9.0, name: 1.0}]


def test_flats_may_differ_in_gain_and_not_in_size():
    flats = shot(Kind.FLAT, 8, exposure_s=2.0, gain=100.0)
    flats[2] = replace(flats[2], facts=replace(flats[2].facts, gain=0.0))
    assert odd(flats) == []
    flats[5] = replace(flats[5], facts=replace(flats[5].facts, width=600))
    assert odd(flats) == [{"frames": 8.0, "size": 1.0}]


def test_two_series_on_purpose_and_lights_are_not_accused():
    assert odd(shot(Kind.DARK, 5, gain=100.0) + shot(Kind.DARK, 5, first=5, gain=200.0)) == []
    assert odd(shot(Kind.LIGHT, 8, gain=100.0) + shot(Kind.LIGHT, 1, first=8, gain=200.0)) == []


def test_frames_long_after_the_series_are_no_part_of_it():
    members = shot(Kind.DARK, 8, gain=100.0) + shot(Kind.DARK, 1, first=8, gain=200.0)
    later = replace(members[-1].facts, taken_at=members[-1].facts.taken_at + timedelta(hours=2))
    assert odd([*members[:-1], replace(members[-1], facts=later)]) == []
    assert len(odd(members)) == 1
