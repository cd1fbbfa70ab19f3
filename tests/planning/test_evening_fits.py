"""The evening's plan: as valuable as a mixed-integer program finds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from roll import READOUT, body

from darklib.facts.frame import Kind
from darklib.facts.match import Verdict
from darklib.facts.plan import Gap, Interval
from darklib.facts.settings import Settings, Shooting
from darklib.planning.evening import evening_of, most_valuable

if TYPE_CHECKING:
    from darklib.facts.frame import BodyRef

PLAIN = Settings(shooting=Shooting(download_s=0.0, settling_minutes=20.0))


def gap(
    exposure_s: float, low_c: float, high_c: float, *, worth_s: float, frames: int = 20, owner: BodyRef | None = None
) -> Gap:
    return Gap(
        kind=Kind.DARK,
        role="dark",
        body=owner or body(),
        readout=READOUT,
        exposure_s=exposure_s,
        filter=None,
        train=None,
        lights_count=10,
        lights_seconds=worth_s,
        batches=(f"{exposure_s} {low_c} {high_c} {worth_s}",),
        interval=Interval(low_c, high_c, (low_c + high_c) / 2),
        have=0,
        need=frames,
        verdict_now=Verdict.MISSING,
    )


def test_an_evening_by_hand() -> None:
    """Of 600 s at 0..4 C (220 minutes with settling, 3 hours of light), 300 s at 2..6 C (120 minutes, 2 hours) and 60 s
    at 3..7 C (40 minutes, 1 hour): in 150 minutes the last two fit at one temperature, 100 + 20 + 20 are 140.
    """
    long_one, middle, short = (
        gap(600.0, 0.0, 4.0, worth_s=10800.0),
        gap(300.0, 2.0, 6.0, worth_s=7200.0),
        gap(60.0, 3.0, 7.0, worth_s=3600.0),
    )
    plan = evening_of([long_one, middle, short], PLAIN, 150.0)
    assert plan.evening is not None
    assert [(step.exposure_s, step.frames) for step in plan.steps] == [(300.0, 20), (60.0, 20)]
    assert (plan.total_minutes, plan.evening.served_seconds) == (140.0, 10800.0)
    assert plan.evening.left_out == (long_one.id,)
    assert plan.evening.bound_seconds is None
    assert evening_of([long_one], PLAIN, 219.0).steps == ()


NEEDS = st.tuples(
    st.sampled_from([60, 120, 300]),
    st.integers(0, 6),
    st.integers(0, 3),
    st.sampled_from([5, 10, 20]),
    st.integers(1, 9),
    st.sampled_from(["B1", "B2"]),
)


@settings(max_examples=25)
@given(st.lists(NEEDS, min_size=1, max_size=6), st.integers(20, 240))
def test_as_valuable_as_a_mixed_integer_program(needs: list[tuple[int, int, int, int, int, str]], budget: int) -> None:
    """Against scipy.optimize.milp (HiGHS), which knows nothing of the search: needs, temperatures and frames of each
    class as variables of one linear program.
    """
    gaps = [
        gap(s, low, low + wide, worth_s=worth * 3600.0, frames=frames, owner=body(owner))
        for s, low, wide, frames, worth, owner in needs
    ]
    plan = evening_of(gaps, PLAIN, float(budget))
    assert plan.evening is not None
    assert plan.total_minutes <= budget + 1e-6
    assert plan.evening.bound_seconds is None
    assert plan.evening.served_seconds == pytest.approx(_best(needs, budget) * 3600.0)


def _best(needs: list[tuple[int, int, int, int, int, str]], budget: float) -> float:
    from scipy.optimize import Bounds, LinearConstraint, milp

    points = range(11)
    owners = sorted({need[5] for need in needs})
    classes = sorted({(need[5], need[0]) for need in needs})
    names: list[tuple[object, ...]] = [("served", i) for i in range(len(needs))]
    names += [("at", i, p) for i in range(len(needs)) for p in points]
    names += [("open", owner, p) for owner in owners for p in points]
    names += [("frames", one, p) for one in classes for p in points]
    column = {name: place for place, name in enumerate(names)}
    rows: list[dict[tuple[object, ...], float]] = []
    least: list[float] = []
    most: list[float] = []

    def rule(terms: dict[tuple[object, ...], float], low: float, high: float) -> None:
        rows.append(terms)
        least.append(low)
        most.append(high)

    for i, (s, low, wide, frames, _, owner) in enumerate(needs):
        inside = [p for p in points if low <= p <= low + wide]
        rule({("served", i): -1.0, **{("at", i, p): 1.0 for p in inside}}, 0.0, np.inf)
        for p in points:
            rule({("at", i, p): 1.0, ("open", owner, p): -1.0}, -np.inf, 0.0)
            rule({("at", i, p): float(frames), ("frames", (owner, s), p): -1.0}, -np.inf, 0.0)
    minutes: dict[tuple[object, ...], float] = {("open", owner, p): 20.0 for owner in owners for p in points}
    minutes |= {("frames", one, p): one[1] / 60.0 for one in classes for p in points}
    rule(minutes, -np.inf, budget)
    matrix = np.zeros((len(rows), len(names)))
    for number, terms in enumerate(rows):
        for name, factor in terms.items():
            matrix[number, column[name]] = factor
    worth = np.zeros(len(names))
    worth[: len(needs)] = [-need[4] for need in needs]
    whole = np.array([0 if name[0] == "frames" else 1 for name in names])
    top = np.array([np.inf if name[0] == "frames" else 1.0 for name in names])
    found = milp(
        worth,
        constraints=LinearConstraint(matrix, np.array(least), np.array(most)),
        integrality=whole,
        bounds=Bounds(np.zeros(len(names)), top),
    )
    assert found.success
    return -float(found.fun)


def test_what_was_not_tried_goes_into_the_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    from darklib.planning import evening

    monkeypatch.setattr(evening, "MOST_TRIES", 12)
    picked = most_valuable([5.0, 4.0, 4.0, 3.0, 3.0, 2.0], lambda some: 10.0 * len(some) + len(some) ** 2, 39.0)
    assert picked.bound >= 13.0 >= picked.value
    assert picked.bound > picked.value
