"""Odd frames inside a set: each frame tested against the others, by figures that are cheap to have. Standard library
only.

A frame is odd when it lies far from the others as they scatter (leave one out) *and* by so much that it matters: sets
in which frames agree to a hundredth of their noise are common, and a frame a twentieth of its noise away does no harm.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

LEAST_FRAMES = 5
"""Of fewer frames nobody can say which is the odd one."""

FAR_SIGMA = 8.0
"""So many robust standard deviations of the others: with four others their scatter is known to a factor of two."""

LEVEL_NOISES = 0.25
"""A level matters from this share of the frame's noise on,"""
LEVEL_SHARE = 0.02
"""and where there is light, from this share of the level above the lowest frame's,"""
NOISE_SHARE = 0.15
"""a noise that differs by this share,"""
HOT_SHARE, HOT_LEAST = 0.5, 20.0
"""a number of hot pixels that differs by this share and this number,"""
PATTERN_LEAST = 0.2
"""a pattern this much weaker or stronger than the others'."""

SET_POINT_C = 0.5
"""A cooled frame further from its set-point was shot before the cooler had got there, or after it had lost it."""

MAD_TO_SIGMA = 1.4826


@dataclass(frozen=True, slots=True)
class FrameFigures:
    """One frame in figures. level_dn and noise_dn: of its pixels, robust. hot: hot pixels. pattern: slope of its own
    pattern over that of the others, 1 where it is the same. step_dn: distance of the numbers: medians of frames that
    are alike may lie one step apart. None: not known.
    """

    name: str
    level_dn: float | None = None
    noise_dn: float | None = None
    hot: float | None = None
    pattern: float | None = None
    temperature_c: float | None = None
    set_temperature_c: float | None = None
    step_dn: float = 1.0


@dataclass(frozen=True, slots=True)
class Odd:
    """A frame that should not be combined with the others. code: odd_frame or not_at_set_point; what: in words."""

    name: str
    code: str
    what: str


def odd_frames(frames: Sequence[FrameFigures], *, lit: bool = False) -> list[Odd]:
    """The odd ones, in the order given. lit: flats, whose level may follow the light by some percent.

    A frame away from its set-point is told in sets of any size; the others need five. Where more than a third would be
    odd the set has no common ground, and none of them is called odd for its figures.
    """
    away = {one.name: _away(one) for one in frames}
    rest = [one for one in frames if away[one.name] is None]
    found: dict[str, str] = {}
    if len(rest) >= LEAST_FRAMES:
        noise = median([one.noise_dn for one in rest if one.noise_dn is not None] or [0.0])
        for place, one in enumerate(rest):
            others = rest[:place] + rest[place + 1 :]
            what = _differs(one, others, noise, lit)
            if what:
                found[one.name] = what
        if len(found) > len(rest) // 3:
            found = {}
    told = []
    for one in frames:
        gap = away[one.name]
        if gap is not None:
            told.append(Odd(one.name, "not_at_set_point", f"{gap:+.1f} degrees from its set-point"))
        elif one.name in found:
            told.append(Odd(one.name, "odd_frame", found[one.name]))
    return told


def _away(one: FrameFigures) -> float | None:
    if one.temperature_c is None or one.set_temperature_c is None:
        return None
    gap = one.temperature_c - one.set_temperature_c
    return gap if abs(gap) > SET_POINT_C + 1e-9 else None


def _differs(one: FrameFigures, others: Sequence[FrameFigures], noise: float, lit: bool) -> str:
    levels = [other.level_dn for other in others if other.level_dn is not None]
    level_matters = max(LEVEL_NOISES * noise, 10.0 * LEVEL_SHARE * _middle(levels) if lit else 0.0, one.step_dn)
    if _far(one.level_dn, levels, level_matters):
        return "its level differs from the others'"
    noises = [other.noise_dn for other in others if other.noise_dn is not None]
    if _far(
        one.noise_dn, noises, max(NOISE_SHARE * _middle(noises) * (2.0 if lit else 1.0), MAD_TO_SIGMA * one.step_dn)
    ):
        return "its noise differs from the others'"
    hots = [other.hot for other in others if other.hot is not None]
    if not lit and _far(one.hot, hots, max(HOT_LEAST, HOT_SHARE * _middle(hots))):
        return "its number of hot pixels differs from the others'"
    patterns = [other.pattern for other in others if other.pattern is not None]
    if _far(one.pattern, patterns, PATTERN_LEAST):
        return "its pattern is weaker or stronger than the others'"
    return ""


def _middle(values: Sequence[float]) -> float:
    return abs(median(values)) if values else 0.0


def _far(value: float | None, others: Sequence[float], matters: float) -> bool:
    if value is None or len(others) < LEAST_FRAMES - 1:
        return False
    centre = median(others)
    scatter = MAD_TO_SIGMA * median([abs(other - centre) for other in others])
    return abs(value - centre) > max(matters, FAR_SIGMA * scatter)
