"""The shooting plan: which darks at which temperatures, in the fewest minutes.

Minutes are the frames' exposures and downloads, plus settling once a temperature and body; among plans of equal
minutes the one with fewer temperatures is taken. For one readout and exposure that is stabbing intervals with points,
where going by upper ends is provably least; with several it is searched exactly up to EXACT needs of a body, and beyond
that made by going greedily, with the least that any plan must take beside it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from darklib.facts.frame import BodyRef, Kind
from darklib.facts.plan import Gap, Plan, Step
from darklib.facts.settings import Settings
from darklib.facts.units import exposures_equal

EXACT = 12
"""So many needs of one body are searched exactly; 2^12 sets of temperatures take well under a second."""


@dataclass(frozen=True, slots=True)
class Item:
    """One gap as the plan sees it: frames still to shoot at low_c to high_c, or at any temperature (`anywhere`).

    group: name of its class; frames of one class, which is a readout and an exposure, serve every item within reach.
    """

    gap: Gap
    group: str
    frames: int
    frame_minutes: float
    low_c: float
    high_c: float
    anywhere: bool = False

    @property
    def minutes(self) -> float:
        return self.frames * self.frame_minutes


def plan_of(gaps: Sequence[Gap], settings: Settings) -> Plan:
    """The plan for darks, dark flats and biases among the gaps; flats are shot at the telescope, not by plan.

    What can no longer be shot, and what lacks no frame, is left out. Steps go body by body from the warmest temperature
    to the coldest, the longest exposures of a temperature first.
    """
    wanted = [gap for gap in gaps if _can_be_planned(gap)]
    steps: list[Step] = []
    total, least, exact = 0.0, 0.0, True
    for body in sorted({_body(gap.body) for gap in wanted}):
        items = _items([gap for gap in wanted if _body(gap.body) == body], settings)
        tied = [item for item in items if not item.anywhere]
        settling = settings.shooting.settling_minutes
        temperatures, proven = cheapest(tied, settling)
        own = _steps(items, temperatures, settings)
        minutes = sum(step.minutes for step in own)
        # What can be shot at any temperature costs its frames and no more, in any plan.
        least += proven + minutes - cost(tied, temperatures, settling)
        total += minutes
        exact = exact and len(tied) <= EXACT
        steps += own
    return Plan(tuple(steps), round(total, 2), None if exact else round(least, 2))


def cheapest(items: Sequence[Item], settling_minutes: float) -> tuple[tuple[float, ...], float]:
    """Temperatures that serve all items in the least minutes, and the least that is proven.

    Only upper ends need be tried: any point can be moved up to the first upper end of what it serves. Where there are
    more items than EXACT, the second figure is a bound that may lie below.
    """
    if not items:
        return (), 0.0
    ends = tuple(sorted({item.high_c for item in items}))
    if len(items) > EXACT:
        return _greedy(items, ends, settling_minutes), bound(items, settling_minutes)
    classes = _Classes(items)
    # Leaving temperatures out makes frames only dearer, so no plan's frames cost less than with all of them at hand.
    least_frames = classes.minutes(ends)
    best, best_minutes = ends, float("inf")
    for number in range(len(stab(items)), len(ends) + 1):
        if number * settling_minutes + least_frames >= best_minutes - 1e-9:
            break
        for temperatures in combinations(ends, number):
            minutes = number * settling_minutes + classes.minutes(temperatures)
            if minutes < best_minutes - 1e-9:
                best, best_minutes = temperatures, minutes
    return best, best_minutes


class _Classes:
    """Items by class, with the minutes of each class's frames remembered by the temperatures that concern it."""

    def __init__(self, items: Iterable[Item]) -> None:
        self._members: dict[str, list[Item]] = {}
        for item in items:
            self._members.setdefault(item.group, []).append(item)
        self._known: dict[tuple[str, tuple[float, ...]], float] = {}

    def minutes(self, temperatures: Sequence[float]) -> float:
        """Minutes of all frames at those temperatures; infinite where some item is not served."""
        total = 0.0
        for group, members in self._members.items():
            points = tuple(p for p in temperatures if any(item.low_c <= p <= item.high_c for item in members))
            if (group, points) not in self._known:
                self._known[group, points] = _frame_minutes(members, points)
            total += self._known[group, points]
        return total


def cost(items: Iterable[Item], temperatures: Sequence[float], settling_minutes: float) -> float:
    """Minutes of a plan at those temperatures, each class of frames shot where it is cheapest; infinite where not all
    are served.
    """
    return len(temperatures) * settling_minutes + _frame_minutes(items, temperatures)


def stab(items: Iterable[Item]) -> tuple[float, ...]:
    """The fewest temperatures of which one lies in each interval: by upper end, each time one is not served yet."""
    points: list[float] = []
    for item in sorted(items, key=lambda item: item.high_c):
        if not points or points[-1] < item.low_c:
            points.append(item.high_c)
    return tuple(points)


def bound(items: Sequence[Item], settling_minutes: float) -> float:
    """Minutes that no plan can do without: the fewest temperatures, and of each class the most that intervals without
    a temperature in common ask for, since no frame serves two of those.
    """
    frames = sum(_most_disjoint([item for item in items if item.group == group]) for group in {i.group for i in items})
    return len(stab(items)) * settling_minutes + frames


def served_at(items: Iterable[Item], temperatures: Sequence[float]) -> dict[tuple[str, float], list[Item]] | None:
    """By class and temperature the items shot for there, at the least frames; None where an item cannot be served.

    Items of most frames first: once a temperature is chosen for a class, every other item of that class within reach is
    served by the same frames. Which temperature to open where several would do is searched.
    """
    shots: dict[tuple[str, float], list[Item]] = {}
    by_group: dict[str, list[Item]] = {}
    for item in items:
        by_group.setdefault(item.group, []).append(item)
    for group, members in by_group.items():
        members.sort(key=lambda item: (-item.frames, item.high_c, item.low_c))
        opened = _open(tuple(members), tuple(temperatures))
        if opened is None:
            return None
        for item in members:
            # Opened in order of frames, so the first that serves the item has frames enough.
            place = next(point for point in opened if item.low_c <= point <= item.high_c)
            shots.setdefault((group, place), []).append(item)
    return shots


def _frame_minutes(items: Iterable[Item], temperatures: Sequence[float]) -> float:
    shots = served_at(items, temperatures)
    if shots is None:
        return float("inf")
    return sum(max(item.minutes for item in members) for members in shots.values())


def _open(members: tuple[Item, ...], temperatures: tuple[float, ...]) -> tuple[float, ...] | None:
    """Temperatures of one class in the order of opening, least frames in sum; members by frames, most first."""
    # Each way so far: what it cost and which temperatures are open. Ways with the same ones open are one.
    ways: dict[frozenset[float], tuple[int, tuple[float, ...]]] = {frozenset(): (0, ())}
    for item in members:
        inside = [point for point in temperatures if item.low_c <= point <= item.high_c]
        following: dict[frozenset[float], tuple[int, tuple[float, ...]]] = {}
        for opened, (frames, order) in ways.items():
            served = any(point in opened for point in inside)
            for point in [None] if served else inside:
                key = opened if point is None else opened | {point}
                way = (frames, order) if point is None else (frames + item.frames, (*order, point))
                if key not in following or way < following[key]:
                    following[key] = way
        if len(following) > MOST_WAYS:
            following = dict(sorted(following.items(), key=lambda way: way[1])[:MOST_WAYS])
        ways = following
    return min(ways.values())[1] if ways else None


MOST_WAYS = 5000
"""Never reached by up to EXACT needs, which have 2^12 ways at most; beyond, the search is a good one, not a proof."""


def _greedy(items: Sequence[Item], ends: tuple[float, ...], settling_minutes: float) -> tuple[float, ...]:
    """Temperatures from two beginnings, each bettered by leaving one out or taking one in until nothing is won."""
    classes = _Classes(items)
    groups = sorted({item.group for item in items})
    each = {point for group in groups for point in stab(item for item in items if item.group == group)}

    def worth(points: tuple[float, ...]) -> tuple[float, int, tuple[float, ...]]:
        return (round(len(points) * settling_minutes + classes.minutes(points), 6), len(points), points)

    def bettered(points: tuple[float, ...]) -> tuple[float, ...]:
        while True:
            fewer = [tuple(point for point in points if point != left_out) for left_out in points]
            more = [tuple(sorted({*points, taken_in})) for taken_in in ends if taken_in not in points]
            found = min(fewer + more, key=worth, default=points)
            if worth(found)[:2] >= worth(points)[:2]:
                return points
            points = found

    return min((bettered(stab(items)), bettered(tuple(sorted(each)))), key=worth)


def _most_disjoint(members: list[Item]) -> float:
    """The most minutes of items whose intervals have no temperature in common, by dynamic programming."""
    ordered = sorted(members, key=lambda item: item.high_c)
    best: list[float] = [0.0]
    for place, item in enumerate(ordered):
        before = sum(other.high_c < item.low_c for other in ordered[:place])
        best.append(max(best[-1], best[before] + item.minutes))
    return best[-1]


def _items(gaps: Sequence[Gap], settings: Settings) -> list[Item]:
    """The gaps of one body as items. Exposures that serve each other are one class, named by the first of them."""
    classes: list[tuple[str, float]] = []
    items = []
    for gap in sorted(gaps, key=lambda gap: (gap.exposure_s or 0.0, gap.batches)):
        exposure_s = gap.exposure_s or 0.0
        name = f"{gap.kind.value}|{gap.readout.key}"
        own_s = next((s for known, s in classes if known == name and exposures_equal(s, exposure_s)), None)
        if own_s is None:
            own_s = exposure_s
            classes.append((name, own_s))
        minutes = (own_s + settings.shooting.download_s) / 60.0
        low_c, high_c = _reach(gap, settings)
        items.append(Item(gap, f"{name}|{own_s:g}", gap.need - gap.have, minutes, low_c, high_c, gap.interval is None))
    return items


def _reach(gap: Gap, settings: Settings) -> tuple[float, float]:
    """Temperatures at which the gap's frames may be shot; what tops up a set must lie within one set with it."""
    if gap.interval is None:
        return float("-inf"), float("inf")
    low_c, high_c = gap.interval.low_c, gap.interval.high_c
    if gap.have:
        half_c = settings.limits.set_span_c / 2
        low_c, high_c = max(low_c, gap.interval.shoot_at_c - half_c), min(high_c, gap.interval.shoot_at_c + half_c)
    camera = settings.cameras.get(gap.body.id) if gap.body is not None else None
    if camera is not None and camera.lowest_c is not None:
        low_c = min(max(low_c, camera.lowest_c), high_c)
    return low_c, high_c


def _can_be_planned(gap: Gap) -> bool:
    # Darks for lights of unknown exposure lack as well, but nobody can say how long to expose them.
    told = gap.kind is not Kind.DARK or gap.exposure_s is not None
    return gap.role != "flat" and told and gap.still_possible and gap.need > gap.have


def _body(body: BodyRef | None) -> str:
    return body.id if body is not None else ""


def _steps(items: Sequence[Item], temperatures: Sequence[float], settings: Settings) -> list[Step]:
    """Steps of one body; what any temperature serves is shot at the first one, or at whatever it is."""
    tied = [item for item in items if not item.anywhere]
    shots = served_at(tied, temperatures) or {}
    anywhere: dict[str, list[Item]] = {}
    for item in items:
        if item.anywhere:
            anywhere.setdefault(item.group, []).append(item)
    steps: list[Step] = []
    for number, point in enumerate(sorted(temperatures, reverse=True)):
        here = [members for (_, at), members in shots.items() if at == point]
        temperature_c = _middle([item for members in here for item in members])
        own = [_step(members, temperature_c) for members in here]
        if number == 0:
            own += [_step(members, temperature_c) for members in anywhere.values()]
        own.sort(key=lambda step: (-step.exposure_s, step.kind.value, step.readout.key))
        own[0] = replace(own[0], minutes=round(own[0].minutes + settings.shooting.settling_minutes, 2))
        steps += own
    if not temperatures:
        steps += [_step(members, None) for members in anywhere.values()]
    return steps


def _middle(items: Sequence[Item]) -> float:
    """Where to shoot within what all items allow: as near as that goes to what each would like best."""
    low_c, high_c = max(item.low_c for item in items), min(item.high_c for item in items)
    liked = [item.gap.interval.shoot_at_c for item in items if item.gap.interval is not None]
    return min(max(round(sum(liked) / len(liked), 1), low_c), high_c)


def _step(members: Sequence[Item], temperature_c: float | None) -> Step:
    gap = members[0].gap
    return Step(
        kind=gap.kind,
        body=gap.body,
        readout=gap.readout,
        exposure_s=gap.exposure_s or 0.0,
        temperature_c=temperature_c,
        frames=max(item.frames for item in members),
        minutes=round(max(item.minutes for item in members), 2),
        serves_lights=sum(item.gap.lights_count for item in members),
    )
