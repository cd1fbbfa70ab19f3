"""What holds for any stock: the choice breaks no rule, and neither order nor strangers change it."""

from __future__ import annotations

import random
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st
from roll import READOUT, biases, body, darks, flats, lights, train

from darklib.facts.frame import Frame, Kind
from darklib.facts.match import CalibrationSet, Choice, Match, Verdict
from darklib.facts.settings import Settings
from darklib.matching.batches import batches_of
from darklib.matching.choose import match_all
from darklib.matching.rules import hard_rule
from darklib.matching.stock import MemoryStock
from darklib.matching.verdicts import RANK

READOUTS = st.sampled_from(
    [
        READOUT,
        replace(READOUT, gain=0.0),
        replace(READOUT, gain=None),
        replace(READOUT, offset=None),
        replace(READOUT, binning=(2, 2), width=1504, height=1504),
        replace(READOUT, dn_step=16),
        replace(READOUT, row_order="TOP-DOWN"),
    ]
)
BODIES = st.sampled_from([body("A1"), body("B2"), None])
TEMPERATURES = st.one_of(st.none(), st.integers(-20, 30).map(float))
NIGHTS = st.integers(1, 28).map(lambda day: f"2026-02-{day:02d}T20:00")


@st.composite
def some_darks(draw: st.DrawFn) -> list[Frame]:
    return darks(
        draw(st.integers(1, 25)),
        draw(NIGHTS),
        draw(TEMPERATURES),
        draw(st.sampled_from([0.0, 0.5, 60.0, 150.0, 300.0, 301.0, 600.0])),
        body=draw(BODIES),
        readout=draw(READOUTS),
    )


@st.composite
def some_flats(draw: st.DrawFn) -> list[Frame]:
    return flats(
        draw(st.integers(1, 25)),
        draw(NIGHTS),
        draw(TEMPERATURES),
        draw(st.sampled_from([0.5, 6.0])),
        body=draw(BODIES),
        readout=draw(READOUTS),
        train=draw(st.sampled_from([train(), train("Short Tube", 400.0), None])),
        filter_=draw(st.sampled_from(["L", "R", None])),
    )


@st.composite
def some_lights(draw: st.DrawFn) -> list[Frame]:
    temperatures = draw(st.lists(TEMPERATURES, min_size=1, max_size=6))
    return lights(len(temperatures) * 3, "2026-02-14T20:00", [t for t in temperatures for _ in range(3)])


@st.composite
def some_biases(draw: st.DrawFn) -> list[Frame]:
    return biases(draw(st.integers(1, 25)), draw(NIGHTS), draw(TEMPERATURES), body=draw(BODIES), readout=draw(READOUTS))


STOCKS = st.lists(st.one_of(some_darks(), some_flats(), some_biases()), max_size=8).map(
    lambda parts: [f for p in parts for f in p]
)


def answers(shot: list[Frame], stock: list[Frame]) -> list[Match]:
    return match_all(batches_of(shot), MemoryStock(stock), Settings())


def all_choices(one: Match) -> list[tuple[str, Choice]]:
    named = [("dark", one.darks), ("flat", one.flats), ("bias", one.biases), ("dark_flat", one.dark_flats)]
    return [(role, each) for role, choice in named for each in (choice, *choice.runners_up)]


def chosen_ids(matches: list[Match]) -> list[tuple[object, ...]]:
    return [
        tuple(
            (choice.verdict, frozenset(frame.id for frame in choice.set.frames) if choice.set else None)
            for choice in (one.darks, one.flats, one.biases, one.dark_flats)
        )
        for one in matches
    ]


@settings(max_examples=60)
@given(some_lights(), STOCKS)
def test_a_chosen_set_breaks_no_hard_rule(shot: list[Frame], stock: list[Frame]) -> None:
    for one in answers(shot, stock):
        for role, choice in all_choices(one):
            if choice.set is None:
                continue
            served = one.flats.set if role == "dark_flat" or choice.use == "with_flats" else one.batch
            assert served is not None
            for part in choice.set.frames:
                single = replace(choice.set, body=part.body, readout=part.readout, filter=part.filter, train=part.train)
                assert hard_rule(role, served, single) is None
                assert part.kind is not Kind.LIGHT
            assert len({frame.id for frame in choice.set.frames}) == choice.set.count


@settings(max_examples=60)
@given(some_lights(), STOCKS, st.randoms(use_true_random=False))
def test_the_order_of_frames_does_not_matter(shot: list[Frame], stock: list[Frame], chance: random.Random) -> None:
    before = answers(shot, stock)
    shot, stock = chance.sample(shot, len(shot)), chance.sample(stock, len(stock))
    assert answers(shot, stock) == before


@settings(max_examples=60)
@given(some_lights(), STOCKS, st.sampled_from(["body", "gain", "retired", "light"]))
def test_a_stranger_does_not_change_the_choice(shot: list[Frame], stock: list[Frame], what: str) -> None:
    known = {"offset": 30.0, "gain": 100.0}
    stranger = {
        "body": lambda: darks(30, "2026-02-14T12:00", 5.0, body=body("C3"), readout=replace(READOUT, **known)),
        "gain": lambda: darks(30, "2026-02-14T12:00", 5.0, readout=replace(READOUT, gain=300.0)),
        "retired": lambda: darks(30, "2026-02-14T12:00", 5.0, retired=True),
        "light": lambda: lights(30, "2026-02-14T12:00", 5.0, exposure_s=299.0),
    }[what]()
    assert chosen_ids(answers(shot, stock + stranger)) == chosen_ids(answers(shot, stock))


@settings(max_examples=60)
@given(some_lights(), STOCKS)
def test_every_light_is_in_one_part(shot: list[Frame], stock: list[Frame]) -> None:
    matches = answers(shot, stock)
    assert sorted(light.id for one in matches for light in one.lights) == sorted(light.id for light in shot)
    assert [(one.part, one.parts) for one in matches] == [(n + 1, len(matches)) for n in range(len(matches))]


@settings(max_examples=60)
@given(some_lights(), STOCKS)
def test_no_bias_is_taken_off_twice(shot: list[Frame], stock: list[Frame]) -> None:
    for one in answers(shot, stock):
        off_lights = [c for c in (one.darks, one.biases) if c.set is not None and c.use in ("subtract", "scale")]
        off_flats = [c for c in (one.biases, one.dark_flats) if c.set is not None and c.use == "with_flats"]
        assert len(off_flats) <= 1
        if len(off_lights) == 2:
            assert one.darks.recipe is not None
            assert one.darks.recipe.needs_bias


@given(st.floats(-30, 30), st.floats(0, 30), st.floats(0, 30), st.integers(1, 30))
def test_the_verdict_only_falls_with_the_mismatch(lights_c: float, near: float, far: float, many: int) -> None:
    near, far = sorted((near, far))
    ranks = []
    for off in (near, far):
        (one,) = answers(lights(temperature_c=lights_c), darks(many, temperature_c=lights_c + off))
        ranks.append(RANK[one.darks.verdict])
    assert ranks[0] <= ranks[1]


@given(st.integers(1, 40), st.integers(1, 40))
def test_the_verdict_only_rises_with_the_count(a: int, b: int) -> None:
    few, many = sorted((a, b))
    verdicts = [answers(lights(), darks(number))[0].darks.verdict for number in (few, many)]
    assert RANK[verdicts[0]] >= RANK[verdicts[1]]


def test_asked_of_a_large_stock_few_series_are_looked_into() -> None:
    """A match must cost what the lights cost, not what the library holds."""
    stock: list[Frame] = []
    for month in range(1, 13):
        for day in range(1, 29):
            stock += darks(10, f"2025-{month:02d}-{day:02d}T20:00", float(day % 10))
    looked_into: list[str] = []

    class Watched(MemoryStock):
        def series_frames(self, ids):  # type: ignore[no-untyped-def]
            looked_into.extend(ids)
            return super().series_frames(ids)

    (one,) = match_all(batches_of(lights()), Watched(stock), Settings())
    assert one.darks.verdict is Verdict.GOOD
    assert isinstance(one.darks.set, CalibrationSet)
    # The newest at 5 degrees exactly: 2025-12-25.
    assert one.darks.set.first_night == "2025-12-25"
    assert len(set(looked_into)) < 60
