"""Gaps as the plan sees them: frames of a class still to shoot at some temperatures, in one or two ways."""

from collections.abc import Sequence
from dataclasses import dataclass

from darklib.facts.frame import BodyRef, Kind
from darklib.facts.plan import Gap
from darklib.facts.settings import Settings
from darklib.facts.units import exposures_equal


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


def can_be_planned(gap: Gap) -> bool:
    """Whether a plan can hold a gap: no flats, which are shot at the telescope, nothing too late, nothing unknown."""
    # Darks for lights of unknown exposure lack as well, but nobody can say how long to expose them.
    told = gap.kind is not Kind.DARK or gap.exposure_s is not None
    return gap.role != "flat" and told and gap.still_possible and gap.need > gap.have


def ways_of(gaps: Sequence[Gap], settings: Settings) -> list[tuple[Item, ...]]:
    """The ways to fill each gap of one body, the one to be preferred first. Exposures that serve each other are one
    class, named by the first of them.

    A set that is there in part is topped up, beside its own temperature; or it is shot afresh wherever the lights
    allow, which is more frames and may save a temperature.
    """
    classes: list[tuple[str, float]] = []
    ways: list[tuple[Item, ...]] = []
    for gap in sorted(gaps, key=lambda gap: (gap.exposure_s or 0.0, gap.batches)):
        exposure_s = gap.exposure_s or 0.0
        name = f"{gap.kind.value}|{gap.readout.key}"
        own_s = next((s for known, s in classes if known == name and exposures_equal(s, exposure_s)), None)
        if own_s is None:
            own_s = exposure_s
            classes.append((name, own_s))
        group, minutes = f"{name}|{own_s:g}", (own_s + settings.shooting.download_s) / 60.0
        if gap.interval is None:
            item = Item(gap, group, gap.need - gap.have, minutes, float("-inf"), float("inf"), anywhere=True)
            ways.append((item,))
            continue
        low_c, high_c = gap.interval.low_c, gap.interval.high_c
        afresh = Item(gap, group, gap.need, minutes, *_bearable(gap, low_c, high_c, settings))
        if not gap.have:
            ways.append((afresh,))
            continue
        half_c = settings.limits.set_span_c / 2
        near_c = max(low_c, gap.interval.shoot_at_c - half_c), min(high_c, gap.interval.shoot_at_c + half_c)
        topped = Item(gap, group, gap.need - gap.have, minutes, *_bearable(gap, *near_c, settings))
        ways.append((topped, afresh))
    return ways


def _bearable(gap: Gap, low_c: float, high_c: float, settings: Settings) -> tuple[float, float]:
    """Temperatures without those below the lower limit that is stated for the camera."""
    camera = settings.cameras.get(gap.body.id) if gap.body is not None else None
    if camera is not None and camera.lowest_c is not None:
        low_c = min(max(low_c, camera.lowest_c), high_c)
    return low_c, high_c


def owner(body: BodyRef | None) -> str:
    """The body's id; empty for a camera nobody knows."""
    return body.id if body is not None else ""
