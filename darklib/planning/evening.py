"""The most valuable part of a plan for the time at hand: which gaps to fill in so many minutes.

The value of a gap is the exposure of the lights it serves. Gaps share frames and temperatures, so their minutes don't
add up; but more gaps never take less, which is all that the search rests on.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from darklib.facts.plan import Evening, Gap, Plan
from darklib.facts.settings import Settings
from darklib.planning.items import can_be_planned, owner
from darklib.planning.shooting_plan import plan_of, shots_of

MOST_TRIES = 2000
"""So many plans are made at most for one evening, a few seconds; what was left untried goes into the bound."""

TINY = 1e-6


@dataclass(frozen=True, slots=True)
class Picked:
    """Places of what was picked, its value and minutes; bound: no choice is worth more."""

    places: tuple[int, ...]
    value: float
    minutes: float
    bound: float


def most_valuable(
    values: Sequence[float], minutes_of: Callable[[frozenset[int]], float], budget_minutes: float
) -> Picked:
    """The places whose values sum to the most within the budget, of equal ones the quickest.

    minutes_of: what some places take together; never less for more of them. Branch and bound: the most valuable that
    still fits is taken in or left out, and a branch ends where all that still fits would not make it better. Exact
    unless MOST_TRIES were not enough; then `bound` is more than `value`.
    """
    best = Picked((), 0.0, 0.0, 0.0)
    tries, missed = 0, 0.0
    waiting: list[tuple[frozenset[int], tuple[int, ...]]] = [
        (frozenset(), tuple(sorted(range(len(values)), key=lambda place: (-values[place], place))))
    ]
    while waiting:
        chosen, rest = waiting.pop()
        value = sum(values[place] for place in chosen)
        if value + sum(values[place] for place in rest) < best.value - TINY:
            continue
        if tries >= MOST_TRIES:
            missed = max(missed, value + sum(values[place] for place in rest))
            continue
        fitting = []
        for place in rest:
            tries += 1
            if minutes_of(chosen | {place}) <= budget_minutes + TINY:
                fitting.append(place)
        minutes = minutes_of(chosen)
        if value > best.value + TINY or (abs(value - best.value) <= TINY and minutes < best.minutes - TINY):
            best = Picked(tuple(sorted(chosen)), value, minutes, value)
        could = value + sum(values[place] for place in fitting)
        if not fitting or could < best.value - TINY or (could <= best.value + TINY and minutes >= best.minutes):
            continue
        first, others = fitting[0], tuple(fitting[1:])
        waiting.append((chosen, others))
        waiting.append((chosen | {first}, others))
    return replace(best, bound=max(best.value, missed))


def evening_of(gaps: Sequence[Gap], settings: Settings, minutes: float) -> Plan:
    """The plan of the most valuable gaps that fit into so many minutes. A gap is filled whole or not at all: half a set
    is no good set.
    """
    wanted = [gap for gap in gaps if can_be_planned(gap)]
    bodies = sorted({owner(gap.body) for gap in wanted})
    known: dict[frozenset[int], tuple[float, float]] = {}
    proven = True

    def of_body(places: frozenset[int]) -> tuple[float, float]:
        if places not in known:
            shots = shots_of([wanted[place] for place in sorted(places)], settings)
            known[places] = shots.minutes, shots.proven
        return known[places]

    def minutes_of(places: frozenset[int]) -> float:
        nonlocal proven
        total = least = 0.0
        for body in bodies:
            own = frozenset(place for place in places if owner(wanted[place].body) == body)
            if own:
                takes, no_less = of_body(own)
                total, least = total + takes, least + no_less
        # Too long by a plan that is not the quickest: it might have fitted after all.
        proven = proven and not least <= minutes < total - TINY
        return total

    values = [gap.lights_seconds for gap in wanted]
    picked = most_valuable(values, minutes_of, minutes)
    plan = plan_of([wanted[place] for place in picked.places], settings)
    bound = picked.bound
    if not proven:
        bound = sum(value for place, value in enumerate(values) if minutes_of(frozenset({place})) <= minutes + TINY)
    evening = Evening(
        minutes=minutes,
        served_seconds=picked.value,
        asked_seconds=sum(values),
        left_out=tuple(sorted(gap.id for place, gap in enumerate(wanted) if place not in picked.places)),
        bound_seconds=bound if bound > picked.value + TINY else None,
    )
    return replace(plan, evening=evening)
