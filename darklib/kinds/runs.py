"""Runs: frames of one camera and exposure, seconds apart and alike in level, which are one kind.

What a run shows settles its undecided frames, and takes back the word "dark" where the frames beside it may hold stars.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

from darklib.facts.frame import Kind, KindDecision, KindFrom
from darklib.facts.units import same_series_exposure
from darklib.kinds.candidate import Candidate

LEAST_FRAMES = 3
PAUSE_S = 90.0
"""Between two frames of a run lie the exposure, once more as much for the camera's own dark, and this."""
LEVEL_SIGMA = 0.75
"""Levels within a run differ by less from one frame to the next: from lights to darks the level falls by the sky's."""
LEVEL_SHARE = 0.02

LIGHT_MOSTLY, MOSTLY, DARK_MOSTLY = 0.4, 0.6, 0.75
"""Share of a run that settles the rest; more is asked where the outcome is dark: a light must not be taken for one."""


def runs_of(members: Sequence[Candidate], places: Sequence[int]) -> list[list[int]]:
    """Runs among the members at `places`, each a list of places in order of time; single frames are runs of one."""
    by_camera: dict[str, list[int]] = {}
    for place in places:
        by_camera.setdefault(members[place].camera, []).append(place)
    out: list[list[int]] = []
    for camera in by_camera.values():
        timed = sorted((p for p in camera if members[p].facts.taken_at), key=lambda p: (by_time(members[p]), p))
        untimed = sorted((p for p in camera if not members[p].facts.taken_at), key=lambda p: (members[p].parts, p))
        for ordered in (timed, untimed):
            run: list[int] = []
            for place in ordered:
                if run and not _one_run(members[run[-1]], members[place]):
                    out.append(run)
                    run = []
                run.append(place)
            if run:
                out.append(run)
    return out


def settle(run: Sequence[int], decisions: Mapping[int, KindDecision]) -> dict[int, KindDecision]:
    """Decisions that the run changes, by place. Only frames decided by their pixels, or not at all, take part."""
    if len(run) < LEAST_FRAMES:
        return {}
    count = {kind: sum(decisions[place].kind is kind for place in run) for kind in (*Kind, None)}
    total = len(run)
    dark = count[Kind.DARK] + count[Kind.BIAS]
    changed: dict[int, KindDecision] = {}
    if count[Kind.LIGHT]:
        lights = [index for index, place in enumerate(run) if decisions[place].kind is Kind.LIGHT]
        mostly = count[Kind.LIGHT] >= LIGHT_MOSTLY * (total - dark - count[Kind.FLAT])
        for index, place in enumerate(run):
            own = decisions[place].kind
            between = lights[0] < index < lights[-1]
            if own is None and mostly and (between or not dark):
                changed[place] = _settled(Kind.LIGHT, 0.9, count[Kind.LIGHT], total)
            elif own is Kind.DARK and (between or lights[0] - 2 <= index <= lights[-1] + 2):
                changed[place] = KindDecision(None, None, 0.5, "no sign of light, but lights of the same run beside it")
    elif count[Kind.FLAT] >= MOSTLY * total and not dark:
        for place in run:
            if decisions[place].kind is None:
                changed[place] = _settled(Kind.FLAT, 0.9, count[Kind.FLAT], total)
    elif dark and not count[Kind.FLAT]:
        kind = Kind.DARK if count[Kind.DARK] >= count[Kind.BIAS] else Kind.BIAS
        for place in run:
            if dark >= DARK_MOSTLY * total and decisions[place].kind is None:
                changed[place] = _settled(kind, 0.85, dark, total)
            elif dark < MOSTLY * total and decisions[place].kind is not None:
                why = f"no sign of light, but {count[None]} of the {total} frames of its run may show some"
                changed[place] = KindDecision(None, None, 0.5, why)
    return changed


def beside_lights(
    run_order: Sequence[int], members: Sequence[Candidate], decisions: Sequence[KindDecision]
) -> set[int]:
    """Frames called dark that lead into lights of the same exposure, seconds apart: perhaps lights with the cap on.

    Darks are shot after the lights, with the same exposure and often at once, so those that follow are not meant.
    """
    out: set[int] = set()
    waiting: list[int] = []
    for before, place in zip((None, *run_order), run_order, strict=False):
        if before is not None and not _close_by(members[before], members[place]):
            waiting = []
        kind = decisions[place].kind
        if kind is Kind.LIGHT:
            out.update(waiting)
            waiting = []
        elif kind is Kind.DARK:
            waiting.append(place)
        elif kind is not None:
            waiting = []
    return out


def _close_by(a: Candidate, b: Candidate) -> bool:
    one, two = a.facts.exposure_s, b.facts.exposure_s
    if one is None or two is None or not same_series_exposure(one, two):
        return False
    return seconds_between(a, b) <= 2 * one + PAUSE_S


def in_time(members: Sequence[Candidate]) -> list[list[int]]:
    """Places of each camera's frames with a time, in its order."""
    by_camera: dict[str, list[int]] = {}
    for place, member in enumerate(members):
        if member.facts.taken_at is not None:
            by_camera.setdefault(member.camera, []).append(place)
    return [sorted(places, key=lambda p: (by_time(members[p]), p)) for places in by_camera.values()]


def _settled(kind: Kind, confidence: float, votes: int, total: int) -> KindDecision:
    return KindDecision(kind, KindFrom.PIXELS, confidence, f"as {votes} of the {total} frames of its run")


def by_time(member: Candidate) -> datetime:
    """The frame's time, to order frames of one camera by."""
    # Frames of one camera carry a zone all or none; the zone taken for the others only has to order them.
    taken = member.facts.taken_at
    if taken is None:
        return datetime.min.replace(tzinfo=UTC)
    return taken if taken.tzinfo is not None else taken.replace(tzinfo=UTC)


def seconds_between(a: Candidate, b: Candidate) -> float:
    """From start to start of two frames of one camera that have a time."""
    return (by_time(b) - by_time(a)).total_seconds()


def _one_run(a: Candidate, b: Candidate) -> bool:
    if a.facts.exposure_s is None or b.facts.exposure_s is None:
        return False
    if not same_series_exposure(a.facts.exposure_s, b.facts.exposure_s):
        return False
    if (a.facts.taken_at is None) != (b.facts.taken_at is None):
        return False
    if a.facts.taken_at is None:
        if a.parts != b.parts:
            return False
    elif seconds_between(a, b) > 2 * a.facts.exposure_s + PAUSE_S:
        return False
    if a.pixels is None or b.pixels is None or not a.pixels.structure or not b.pixels.structure:
        return False
    one, two = a.pixels.structure, b.pixels.structure
    apart = abs(one["level_dn"] - two["level_dn"])
    return apart <= max(LEVEL_SIGMA * one["noise_dn"], LEVEL_SHARE * abs(one["level_dn"]))
