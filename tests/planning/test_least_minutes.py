"""The shooting plan: by hand, and never worse than trying everything."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from roll import READOUT, body

from darklib.facts.frame import BodyRef, Kind
from darklib.facts.match import Verdict
from darklib.facts.plan import Gap, Interval, Plan
from darklib.facts.settings import Camera, Settings, Shooting
from darklib.planning.items import Item
from darklib.planning.shooting_plan import plan_of
from darklib.planning.stabbing import EXACT, MOST_CHOICES, bound, cheapest, cheapest_of_ways, cost, stab

NO_DOWNLOAD = Settings(shooting=Shooting(download_s=0.0, settling_minutes=20.0))


def gap(
    exposure_s: float | None,
    low_c: float | None,
    high_c: float = 0.0,
    *,
    need: int = 20,
    have: int = 0,
    owner: BodyRef | None = None,
    kind: Kind = Kind.DARK,
    role: str = "dark",
    possible: bool = True,
) -> Gap:
    interval = None if low_c is None else Interval(low_c, high_c, (low_c + high_c) / 2)
    return Gap(
        kind=kind,
        role=role,
        body=owner or body(),
        readout=READOUT,
        exposure_s=exposure_s,
        filter=None,
        train=None,
        lights_count=10,
        lights_seconds=3000.0,
        batches=(f"{exposure_s} {low_c}",),
        interval=interval,
        have=have,
        need=need,
        verdict_now=Verdict.MISSING,
        still_possible=possible,
    )


def rows(plan: Plan) -> list[tuple[float, float | None, int, float]]:
    return [(step.exposure_s, step.temperature_c, step.frames, step.minutes) for step in plan.steps]


def test_three_temperatures_cheaper_than_two() -> None:
    """600 s needs at 0..4 and 3..7, 60 s needs at 0..2 and 5..7, 20 frames each, 20 minutes settling.

    With two temperatures, one in 0..2 and one in 5..7, each 600 s need has its own set: 2 x 200 + 2 x 20 minutes of
    frames and 2 x 20 of settling are 480. With a third in 3..4 one set of 600 s serves both: 200 + 40 + 60 = 300.
    """
    plan = plan_of([gap(600.0, 0.0, 4.0), gap(600.0, 3.0, 7.0), gap(60.0, 0.0, 2.0), gap(60.0, 5.0, 7.0)], NO_DOWNLOAD)
    assert plan.total_minutes == 300.0
    assert plan.bound_minutes is None
    assert rows(plan) == [(60.0, 6.0, 20, 40.0), (600.0, 3.5, 20, 220.0), (60.0, 1.0, 20, 40.0)]
    two = cost(_items([(600, 0, 4, 20), (600, 3, 7, 20), (60, 0, 2, 20), (60, 5, 7, 20)]), (2.0, 7.0), 20.0)
    assert two == 480.0


def test_one_exposure_is_stabbing() -> None:
    """Darks of 60 s at 0..4, 3..7, 6..10 and 9..13: from below, 4 stabs the first two and 10 the others."""
    plan = plan_of([gap(60.0, low, low + 4.0) for low in (0.0, 3.0, 6.0, 9.0)], NO_DOWNLOAD)
    assert [step.temperature_c for step in plan.steps] == [9.5, 3.5]
    assert plan.total_minutes == 2 * (20 + 20)
    assert [step.serves_lights for step in plan.steps] == [20, 20]


def test_fewer_temperatures_break_ties() -> None:
    """Without settling and with frames that cost alike, one temperature for two exposures is as fast as two."""
    free = Settings(shooting=Shooting(download_s=0.0, settling_minutes=0.0))
    plan = plan_of([gap(60.0, 0.0, 4.0), gap(120.0, 3.0, 7.0)], free)
    assert {step.temperature_c for step in plan.steps} == {3.5}
    assert plan.total_minutes == 60.0


def test_minutes_hold_the_download() -> None:
    """20 frames of 58 s and 2 s each of download are 20 minutes, and 20 of settling."""
    (step,) = plan_of([gap(58.0, 3.0, 7.0)], Settings()).steps
    assert step.minutes == 40.0


def test_topping_up_counts_only_what_lacks_and_stays_with_the_set() -> None:
    """8 of 20 exist at 4.2 C: 12 more of 300 s are 60 minutes. They must lie within the set's degree: at 4.2 C."""
    topped = gap(300.0, 3.0, 7.0, have=8)
    topped = Gap(**{**_fields(topped), "interval": Interval(3.0, 7.0, 4.2)})
    (step,) = plan_of([topped], NO_DOWNLOAD).steps
    assert (step.frames, step.minutes, step.temperature_c) == (12, 80.0, 4.2)


def test_a_set_is_shot_afresh_where_that_saves_more_than_topping_up() -> None:
    """5 of 20 lack at 3 C and 20 at 5..8 C, 60 s each. Topped up: 5 + 20 minutes of frames and 2 x 20 of settling are
    65. Afresh at 5..6 C one set serves both: 20 + 20 are 40.
    """
    topped = gap(60.0, 2.0, 6.0, have=15)
    topped = Gap(**{**_fields(topped), "interval": Interval(2.0, 6.0, 3.0)})
    plan = plan_of([topped, gap(60.0, 5.0, 8.0)], NO_DOWNLOAD)
    assert [(step.frames, step.serves_lights) for step in plan.steps] == [(20, 20)]
    assert plan.total_minutes == 40.0
    assert plan.steps[0].low_c == 5.0
    assert plan.steps[0].high_c == 6.0


def test_what_exists_is_topped_up_where_that_takes_no_longer() -> None:
    """15 of 20 exist at 3 C: 5 more and 20 minutes of settling are 25, afresh 40."""
    topped = gap(60.0, 2.0, 6.0, have=15)
    topped = Gap(**{**_fields(topped), "interval": Interval(2.0, 6.0, 3.0)})
    (step,) = plan_of([topped], NO_DOWNLOAD).steps
    assert (step.frames, step.minutes, step.temperature_c) == (5, 25.0, 3.0)


def test_steps_tell_how_to_get_there_and_how_much_space_they_take() -> None:
    """Below 2 C no fridge: a freezer only within the stated limit, else a cold night; a cooler is set."""

    def how(settings: Settings = NO_DOWNLOAD, **more: object) -> str:
        one = gap(60.0, -8.0, -4.0)
        (step,) = plan_of([Gap(**{**_fields(one), "frame_bytes": 30_000_000, **more})], settings).steps
        assert step.bytes == 600_000_000
        return step.how

    assert how() == "outdoors"
    assert how(Settings(cameras={body().id: Camera(lowest_c=-10.0)})) == "outdoors or freezer"
    assert how(Settings(cameras={body().id: Camera(lowest_c=-5.0)})) == "outdoors or freezer"
    assert how(cooled=True) == "cooler"
    assert how(interval=Interval(3.0, 7.0, 5.0)) == "outdoors or fridge"


def test_biases_go_along_at_any_temperature() -> None:
    """Biases need no temperature of their own: no settling more. Alone they need none at all."""
    bias = gap(None, None, kind=Kind.BIAS, role="bias")
    plan = plan_of([gap(300.0, 3.0, 7.0), bias], Settings(shooting=Shooting(download_s=3.0, settling_minutes=20.0)))
    assert rows(plan) == [(300.0, 5.0, 20, 121.0), (0.0, 5.0, 20, 1.0)]
    assert rows(plan_of([bias], Settings())) == [(0.0, None, 20, pytest.approx(0.67))]


def test_bodies_settle_each_for_itself() -> None:
    plan = plan_of([gap(60.0, 3.0, 7.0), gap(60.0, 3.0, 7.0, owner=body("B2"))], NO_DOWNLOAD)
    assert plan.total_minutes == 80.0
    assert {step.body for step in plan.steps} == {body(), body("B2")}


def test_exposures_that_serve_each_other_are_shot_once() -> None:
    """300 and 303 s are equal within 2 percent."""
    plan = plan_of([gap(300.0, 3.0, 7.0), gap(303.0, 4.0, 8.0)], NO_DOWNLOAD)
    assert [(step.frames, step.serves_lights) for step in plan.steps] == [(20, 20)]


def test_not_below_what_the_camera_bears() -> None:
    stated = Settings(cameras={body().id: Camera(lowest_c=0.0)})
    (step,) = plan_of([gap(60.0, -3.0, 1.0)], stated).steps
    assert step.temperature_c == 0.0


def test_nothing_to_shoot() -> None:
    nothing = [
        gap(60.0, 3.0, 7.0, possible=False),
        gap(60.0, 3.0, 7.0, have=20),
        gap(None, None, kind=Kind.FLAT, role="flat"),
    ]
    assert plan_of(nothing, Settings()) == Plan((), 0.0)


def _fields(one: Gap) -> dict[str, object]:
    return {name: getattr(one, name) for name in Gap.__slots__}


def _items(needs: list[tuple[int, int, int, int]]) -> list[Item]:
    """Items of (exposure in s, low, high, frames), one minute for each 60 s."""
    some = gap(60.0, 0.0, 1.0)
    return [Item(some, str(s), frames, s / 60.0, float(low), float(high)) for s, low, high, frames in needs]


def _everything(ways: list[tuple[Item, ...]], settling: float) -> float:
    """The least minutes by trying all: every subset of the ends of intervals, and for every class of frames every way
    to give each need one of them, topped up or afresh. It shares nothing with the search but the intervals.
    """
    ends = sorted({end for way in ways for item in way for end in (item.low_c, item.high_c)})
    bit = {end: 1 << place for place, end in enumerate(ends)}
    whole = 1 << len(ends)
    minutes = [settling * mask.bit_count() for mask in range(whole)]
    for group in {way[0].group for way in ways}:
        of_class = [float("inf")] * whole
        members = [way for way in ways if way[0].group == group]
        inside = [
            [(p, item.minutes) for item in way for p in ends if item.low_c <= p <= item.high_c] for way in members
        ]
        for chosen in product(*inside):
            shots: dict[float, float] = {}
            for point, takes in chosen:
                shots[point] = max(shots.get(point, 0.0), takes)
            mask = sum(bit[point] for point in shots)
            of_class[mask] = min(of_class[mask], sum(shots.values()))
        # More temperatures at hand are never worse: each set of them does what its subsets do.
        for one in bit.values():
            for mask in range(whole):
                if mask & one:
                    of_class[mask] = min(of_class[mask], of_class[mask ^ one])
        minutes = [so_far + frames for so_far, frames in zip(minutes, of_class, strict=True)]
    return min(minutes)


NEEDS = st.tuples(
    st.sampled_from([60, 300, 600]), st.integers(0, 8), st.integers(0, 4), st.sampled_from([5, 12, 20])
).map(lambda need: (need[0], need[1], need[1] + need[2], need[3]))
NARROW = st.tuples(
    st.sampled_from([60, 300, 600]), st.integers(0, 7), st.integers(0, 2), st.sampled_from([5, 12, 20])
).map(lambda need: (need[0], need[1], need[1] + need[2], need[3]))


@settings(max_examples=100)
@given(st.lists(NARROW, min_size=1, max_size=9), st.sampled_from([0.0, 5.0, 20.0, 100.0]))
def test_never_worse_than_trying_everything(needs: list[tuple[int, int, int, int]], settling: float) -> None:
    items = _items(needs)
    temperatures, minutes = cheapest(items, settling)
    assert minutes == pytest.approx(_everything([(item,) for item in items], settling))
    assert cost(items, temperatures, settling) == pytest.approx(minutes)
    assert bound(items, settling) <= minutes + 1e-9


@settings(max_examples=60)
@given(st.lists(st.tuples(NARROW, st.sampled_from([0, 0, 2, 4, 18])), min_size=1, max_size=7), st.data())
def test_topping_up_or_afresh_as_by_trying_everything(
    needs: list[tuple[tuple[int, int, int, int], int]], data: st.DataObject
) -> None:
    """Some needs have a set in part, which is topped up beside its own temperature or left alone."""
    settling = data.draw(st.sampled_from([0.0, 5.0, 20.0]))
    ways: list[tuple[Item, ...]] = []
    for (exposure, low, high, frames), have in needs:
        (afresh,) = _items([(exposure, low, high, frames)])
        if not 0 < have < frames:
            ways.append((afresh,))
            continue
        at = data.draw(st.integers(low, high))
        (topped,) = _items([(exposure, at, at, frames - have)])
        ways.append((topped, afresh))
    items, temperatures, proven = cheapest_of_ways(ways, settling)
    least = _everything(ways, settling)
    made = cost(items, temperatures, settling)
    assert proven <= least + 1e-6
    if sum(len(way) > 1 for way in ways) <= MOST_CHOICES:
        assert made == pytest.approx(least)
    else:
        assert least - 1e-6 <= made


@given(st.lists(NEEDS, min_size=1, max_size=10), st.sampled_from([1.0, 20.0]))
def test_of_one_exposure_the_fewest_temperatures_are_found(
    needs: list[tuple[int, int, int, int]], settling: float
) -> None:
    items = _items([(60, low, high, 20) for _, low, high, _ in needs])
    _, minutes = cheapest(items, settling)
    assert minutes == pytest.approx(len(stab(items)) * (20 + settling))


@settings(max_examples=25)
@given(st.lists(NEEDS, min_size=EXACT + 1, max_size=30), st.sampled_from([5.0, 20.0]))
def test_beyond_exact_search_the_bound_lies_below(needs: list[tuple[int, int, int, int]], settling: float) -> None:
    items = _items(needs)
    temperatures, least = cheapest(items, settling)
    assert cost(items, temperatures, settling) < float("inf")
    assert least <= cost(items, temperatures, settling) + 1e-9


@settings(max_examples=25)
@given(st.lists(NEEDS, min_size=5, max_size=9), st.sampled_from([5.0, 20.0]))
def test_going_greedily_stays_near_the_exact_answer(needs: list[tuple[int, int, int, int]], settling: float) -> None:
    from darklib.planning import stabbing

    items = _items(needs)
    exact = cheapest(items, settling)[1]
    ends = tuple(sorted({item.high_c for item in items}))
    greedy = cost(items, stabbing._greedy(items, ends, settling), settling)
    assert exact - 1e-9 <= greedy <= 1.3 * exact


def test_many_needs_come_with_a_bound() -> None:
    plan = plan_of([gap(60.0 + 30 * (n % 4), n * 1.5, n * 1.5 + 4.0) for n in range(EXACT + 4)], NO_DOWNLOAD)
    assert plan.bound_minutes is not None
    assert plan.bound_minutes <= plan.total_minutes
    assert plan.total_minutes == pytest.approx(sum(step.minutes for step in plan.steps))
