"""The fewest minutes: at which temperatures to shoot so that every item is served.

Minutes are the frames' exposures and downloads, plus settling once a temperature; among equals the one with fewer
temperatures is taken. For one readout and exposure that is stabbing intervals with points, where going by upper ends is
provably least; with several it is searched exactly up to EXACT items, and beyond that made by going greedily, with the
least that any plan must take beside it.
"""

from collections.abc import Iterable, Sequence
from itertools import combinations, product

from darklib.planning.items import Item

EXACT = 12
"""So many needs of one body are searched exactly; 2^12 sets of temperatures take well under a second."""

MOST_CHOICES = 4
"""So many partial sets are tried both ways, topped up and shot afresh; of more the bound is stated."""


def cheapest_of_ways(
    ways: Sequence[tuple[Item, ...]], settling_minutes: float
) -> tuple[tuple[Item, ...], tuple[float, ...], float]:
    """One way for each gap and the temperatures that serve them in the least minutes, and the least that is proven.

    Among equals the first ways are taken: what exists is topped up. Exact up to EXACT gaps of which MOST_CHOICES have
    two ways; beyond, the last figure is a bound that may lie below.
    """
    several = sum(len(way) > 1 for way in ways)
    if several <= MOST_CHOICES:
        best: tuple[tuple[Item, ...], tuple[float, ...], float] | None = None
        least = float("inf")
        known = float("inf")
        for items in product(*ways):
            temperatures, proven = cheapest(items, settling_minutes)
            minutes = cost(items, temperatures, settling_minutes)
            least = min(least, proven)
            key = (round(minutes, 6), len(temperatures))
            if best is None or key < (round(known, 6), len(best[1])):
                best, known = (items, temperatures, proven), minutes
        assert best is not None
        return best[0], best[1], least
    items = tuple(way[0] for way in ways)
    temperatures, _ = cheapest(items, settling_minutes)
    now = cost(items, temperatures, settling_minutes)
    # Each set once: to weigh all of them against each other would take long.
    for place, way in enumerate(ways):
        for other in way[1:]:
            tried = (*items[:place], other, *items[place + 1 :])
            points, _ = cheapest(tried, settling_minutes)
            minutes = cost(tried, points, settling_minutes)
            if minutes < now - 1e-6:
                items, temperatures, now = tried, points, minutes
    # As few frames as the one way asks for, wherever the other allows: no plan does with less.
    easiest = [_easiest(way) for way in ways]
    return items, temperatures, cheapest(easiest, settling_minutes)[1]


def _easiest(way: tuple[Item, ...]) -> Item:
    fewest = min(way, key=lambda item: item.frames)
    low_c, high_c = min(item.low_c for item in way), max(item.high_c for item in way)
    return Item(fewest.gap, fewest.group, fewest.frames, fewest.frame_minutes, low_c, high_c, fewest.anywhere)


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
