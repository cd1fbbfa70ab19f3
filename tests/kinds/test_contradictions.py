"""Each contradiction both ways: it is told, and the clean twin is not accused."""

from dataclasses import replace

import pytest
from shown import candidate, facts, pixels, starry

from darklib.facts.codes import WARNINGS
from darklib.facts.frame import Combined, Kind
from darklib.kinds.groups import decide

FALLEN = {"fall_least_sigma": 4.0, "fall_mean_sigma": 6.0}


def warned(kind, facts_, pixels_):
    """Codes of the warnings of a frame whose header gives its kind, which it must keep."""
    decision = decide([candidate(replace(facts_, kind=kind), pixels_)])[0]
    assert decision.kind is kind
    for warning in decision.warnings:
        assert warning.text == WARNINGS[warning.code]
        assert all(type(value) is float for value in warning.figures.values())
    return [warning.code for warning in decision.warnings]


CASES = [
    ("stars_in_dark", Kind.DARK, facts(), pixels(815, **starry()), pixels(815)),
    ("light_leak", Kind.DARK, facts(), pixels(1100, glow_sigma=9.0, dip_sigma=4.0), pixels(815, glow_sigma=9.0)),
    ("dark_is_bright", Kind.DARK, facts(), pixels(30_000, 150), pixels(815)),
    ("flat_is_black", Kind.FLAT, facts(2.0), pixels(802), pixels(30_000, 150, **FALLEN)),
    ("bias_is_long", Kind.BIAS, facts(30.0), pixels(), None),
    ("kind_disagrees", Kind.BIAS, facts(0.0), pixels(30_000, 150), pixels()),
    (
        "kind_disagrees",
        Kind.FLAT,
        facts(2.0),
        pixels(30_000, 150, **starry(300, 60_000)),
        pixels(30_000, 150, **FALLEN),
    ),
    ("kind_disagrees", Kind.LIGHT, facts(2.0), pixels(30_000, 150, **FALLEN), pixels(900, **starry())),
    ("light_is_black", Kind.LIGHT, facts(), pixels(801), pixels(801, stars=1.0, plain_stars=1.0)),
    ("saturated", Kind.FLAT, facts(2.0), pixels(30_000, 150, saturated=0.3, **FALLEN), pixels(30_000, 150, **FALLEN)),
]


@pytest.mark.parametrize(("code", "kind", "facts_", "odd", "clean"), CASES)
def test_a_contradiction_is_told_and_its_clean_twin_is_not(code, kind, facts_, odd, clean):
    assert warned(kind, facts_, odd) == [code]
    if clean is not None:
        assert warned(kind, facts_, clean) == []


@pytest.mark.parametrize("exposure_s", [0.0, 1 / 4000, 0.05])
def test_a_short_bias_is_not_long(exposure_s):
    assert warned(Kind.BIAS, facts(exposure_s), pixels()) == []


def test_a_combined_frame_says_so_and_its_figures_accuse_nobody():
    master = facts(combined=Combined(count=30, method="median"))
    decision = decide([candidate(master, pixels(815, **starry()), "darks/master.fits")])[0]
    assert decision.kind is Kind.DARK
    assert [(warning.code, dict(warning.figures)) for warning in decision.warnings] == [
        ("combined_frame", {"frames": 30.0})
    ]


def test_a_kind_stated_by_the_user_is_checked_too():
    decision = decide([candidate(facts(), pixels(815, **starry()), stated=Kind.DARK)])[0]
    assert decision.kind is Kind.DARK
    assert [warning.code for warning in decision.warnings] == ["stars_in_dark"]
