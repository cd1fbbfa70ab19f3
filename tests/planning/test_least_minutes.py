"""The shooting plan: by hand, and never worse than trying everything."""

from __future__ import annotations

from itertools import chain, combinations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from roll import READOUT, body

from darklib.facts.frame import BodyRef, Kind
from darklib.facts.match import Verdict
from darklib.facts.plan import Gap, Interval, Plan
from darklib.facts.settings import Camera, Settings, Shooting
from darklib.planning.stabbing import EXACT, Item, bound, cheapest, cost, plan_of, stab

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


def _everything(items: list[Item], settling: float) -> float:
    """The least minutes by trying all: every set of ends of intervals, and every way to give items one of them each."""
    ends = sorted({end for item in items for end in (item.low_c, item.high_c)})
    least = float("inf")
    for points in chain.from_iterable(combinations(ends, number) for number in range(1, len(ends) + 1)):
        inside = [[point for point in points if item.low_c <= point <= item.high_c] for item in items]
        if not all(inside) or len(points) * settling >= least:
            continue
        for way in product(*inside):
            shots: dict[tuple[str, float], float] = {}
            for item, point in zip(items, way, strict=True):
                shots[item.group, point] = max(shots.get((item.group, point), 0.0), item.minutes)
            least = min(least, len(points) * settling + sum(shots.values()))
    return least


NEEDS = st.tuples(
    st.sampled_from([60, 300, 600]), st.integers(0, 8), st.integers(0, 4), st.sampled_from([5, 12, 20])
).map(lambda need: (need[0], need[1], need[1] + need[2], need[3]))


@settings(max_examples=150)
@given(st.lists(NEEDS, min_size=1, max_size=4), st.sampled_from([0.0, 5.0, 20.0, 100.0]))
def test_never_worse_than_trying_everything(needs: list[tuple[int, int, int, int]], settling: float) -> None:
    items = _items(needs)
    temperatures, minutes = cheapest(items, settling)
    assert minutes == pytest.approx(_everything(items, settling))
    assert cost(items, temperatures, settling) == pytest.approx(minutes)
    assert bound(items, settling) <= minutes + 1e-9


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
