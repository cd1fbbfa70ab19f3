"""The shooting plan: which darks at which temperatures, in what order, how, and how long it takes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from darklib.facts.plan import Gap, Plan, Step
from darklib.facts.settings import Settings
from darklib.planning.cautions import FRIDGE_C
from darklib.planning.items import Item, can_be_planned, owner, ways_of
from darklib.planning.stabbing import EXACT, MOST_CHOICES, cheapest_of_ways, cost, served_at


@dataclass(frozen=True, slots=True)
class Shots:
    """What is shot for the gaps of one body, and where. proven: minutes that no plan can do without."""

    items: tuple[Item, ...]
    temperatures: tuple[float, ...]
    minutes: float
    proven: float
    exact: bool


def plan_of(gaps: Sequence[Gap], settings: Settings) -> Plan:
    """The plan for darks, dark flats and biases among the gaps; flats are shot at the telescope, not by plan.

    What can no longer be shot, and what lacks no frame, is left out. Steps go body by body from the warmest temperature
    to the coldest, the longest exposures of a temperature first.
    """
    wanted = [gap for gap in gaps if can_be_planned(gap)]
    steps: list[Step] = []
    total, least, exact = 0.0, 0.0, True
    for body in sorted({owner(gap.body) for gap in wanted}):
        shots = shots_of([gap for gap in wanted if owner(gap.body) == body], settings)
        steps += _steps(shots, settings)
        total += shots.minutes
        least += shots.proven
        exact = exact and shots.exact
    sizes = [step.bytes for step in steps]
    space = None if not steps or None in sizes else sum(size for size in sizes if size is not None)
    return Plan(tuple(steps), round(total, 2), None if exact else round(least, 2), space)


def shots_of(gaps: Sequence[Gap], settings: Settings) -> Shots:
    """The least minutes for the gaps of one body, all of which can be planned."""
    ways = ways_of(gaps, settings)
    tied = [way for way in ways if not way[0].anywhere]
    loose = [way[0] for way in ways if way[0].anywhere]
    settling = settings.shooting.settling_minutes
    items, temperatures, proven = cheapest_of_ways(tied, settling)
    # What can be shot at any temperature costs its frames and no more, in any plan.
    alongside = sum(max(item.minutes for item in members) for members in _by_group(loose).values())
    minutes = cost(items, temperatures, settling) + alongside
    exact = len(tied) <= EXACT and sum(len(way) > 1 for way in tied) <= MOST_CHOICES
    return Shots((*items, *loose), temperatures, minutes, proven + alongside, exact)


def _by_group(items: Sequence[Item]) -> dict[str, list[Item]]:
    groups: dict[str, list[Item]] = {}
    for item in items:
        groups.setdefault(item.group, []).append(item)
    return groups


def _steps(shots: Shots, settings: Settings) -> list[Step]:
    """Steps of one body; what any temperature serves is shot at the first one, or at whatever it is."""
    tied = [item for item in shots.items if not item.anywhere]
    placed = served_at(tied, shots.temperatures) or {}
    anywhere = _by_group([item for item in shots.items if item.anywhere])
    steps: list[Step] = []
    for number, point in enumerate(sorted(shots.temperatures, reverse=True)):
        here = [members for (_, at), members in placed.items() if at == point]
        temperature_c = _middle([item for members in here for item in members])
        own = [_step(members, temperature_c, settings) for members in here]
        if number == 0:
            own += [_step(members, _at(members, temperature_c), settings) for members in anywhere.values()]
        own.sort(key=lambda step: (-step.exposure_s, step.kind.value, step.readout.key))
        settling = settings.shooting.settling_minutes
        own[0] = replace(own[0], minutes=round(own[0].minutes + settling, 2), settling_minutes=settling)
        steps += own
    if not shots.temperatures:
        steps += [_step(members, None, settings) for members in anywhere.values()]
    return steps


def _at(members: Sequence[Item], temperature_c: float) -> float | None:
    """Where what is tied to no temperature is shot: along with the rest, but darks for lights of unknown temperature
    at that of the lights, which nobody but the user can know.
    """
    return None if any(item.gap.role == "dark" for item in members) else temperature_c


def _middle(items: Sequence[Item]) -> float:
    """Where to shoot within what all items allow: as near as that goes to what each would like best."""
    low_c, high_c = max(item.low_c for item in items), min(item.high_c for item in items)
    liked = [item.gap.interval.shoot_at_c for item in items if item.gap.interval is not None]
    return min(max(round(sum(liked) / len(liked), 1), low_c), high_c)


def _step(members: Sequence[Item], temperature_c: float | None, settings: Settings) -> Step:
    gaps = [item.gap for item in members]
    gap = gaps[0]
    frames = max(item.frames for item in members)
    tied = [item for item in members if not item.anywhere]
    sizes = [one.frame_bytes for one in gaps if one.frame_bytes is not None]
    return Step(
        kind=gap.kind,
        body=gap.body,
        readout=gap.readout,
        exposure_s=gap.exposure_s or 0.0,
        temperature_c=temperature_c,
        frames=frames,
        minutes=round(max(item.minutes for item in members), 2),
        serves_lights=sum(one.lights_count for one in gaps),
        low_c=max(item.low_c for item in tied) if tied else None,
        high_c=min(item.high_c for item in tied) if tied else None,
        how=how_to_reach(gap, temperature_c, settings),
        bytes=frames * max(sizes) if sizes else None,
        gaps=tuple(sorted(one.id for one in gaps)),
        batches=tuple(sorted({batch for one in gaps for batch in one.batches})),
        lights_seconds=sum(one.lights_seconds for one in gaps),
    )


def how_to_reach(gap: Gap, temperature_c: float | None, settings: Settings) -> str:
    """How the camera comes to a temperature: its own cooler, outdoors or a fridge; a freezer only within the lower
    limit the user has stated from the manual, and any temperature where none matters.
    """
    if temperature_c is None or gap.interval is None:
        return "any"
    if gap.cooled is True:
        return "cooler"
    if temperature_c >= FRIDGE_C:
        return "outdoors or fridge"
    camera = settings.cameras.get(gap.body.id) if gap.body is not None else None
    if camera is not None and camera.lowest_c is not None and temperature_c >= camera.lowest_c:
        return "outdoors or freezer"
    return "outdoors"
