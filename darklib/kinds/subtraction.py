"""Whether the camera took a dark of its own off a frame, where the file does not say so: three witnesses.

1. *spaced*: in an unbroken series the starts lie two exposures apart, or a little more: the camera was shooting its own
   dark in between.
2. *noisy*: the difference of two frames has the square root of two times the noise of one, while what else would raise
   it, dark current, shows no hot pixels.
3. *holes*: the other dark's hot pixels are left as holes below the background, as many as stand above it; or the low
   side is cut off, where the same camera's short frames have theirs.

Each can have an innocent cause (a pause of the timer, a warm sensor, a sensor that clips), so one alone is only worth a
second look; two together are believed. A file that says so needs none; where it says that nothing was taken off, two
are worth a look and one is not.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from darklib.facts.frame import FrameFacts, FrameWarning, Kind, KindDecision, PixelFacts
from darklib.facts.units import same_series_exposure
from darklib.kinds.candidate import Candidate
from darklib.kinds.runs import in_time, seconds_between
from darklib.kinds.warned import warned

LEAST_EXPOSURE_S = 20.0
"""Below, writing a frame may take as long as exposing it."""
LEAST_FRAMES = 4
SLACK_S, SLACK_SHARE = 15.0, 0.25
"""A pause that only happens to be long enough is rarely so nearly one more exposure."""
REFERENCE_S = 1.0
"""Cameras take a dark off exposures of a second or more, so shorter frames are plain."""
NOISE_LOW, NOISE_HIGH = 1.3, 1.55
"""The square root of two, and what temperature adds."""
HOLES_SHARE = 1e-4
HOLES_TO_HOT = 0.4
"""Of plain frames hardly any pixel lies 5 sigma low; of a difference about as many as lie high."""
HOT_GROWTH, HOT_LEAST = 3.0, 1e-4
CUT_SIGMA, UNCUT_SIGMA = 2.5, 3.5
"""In any frame of ten thousand pixels noise reaches 3.7 sigma down."""


@dataclass(frozen=True, slots=True)
class _Reference:
    """Short unlit frames of the same camera: noise, share of high and low points, how far down the values go."""

    noise_dn: float
    high: float
    low: float
    depth_sigma: float


def subtractions(members: Sequence[Candidate], decisions: Sequence[KindDecision]) -> dict[int, FrameWarning]:
    """The warning each frame deserves, by place."""
    out: dict[int, FrameWarning] = {}
    for order in in_time(members):
        spaced = _spaced(order, members)
        reference = _reference(order, members, decisions)
        for place in order:
            member = members[place]
            if member.facts.in_camera_subtraction or _too_short(member.facts) or member.facts.combined is not None:
                continue
            unlit = decisions[place].kind is Kind.DARK and member.pixels is not None and member.pixels.structure
            seen = {
                "spaced": place in spaced,
                "noisy": bool(unlit) and _noisy(member.pixels, reference),
                "holes": bool(unlit) and _holes(member.pixels, reference),
            }
            warning = _judged(sum(seen.values()), member.facts.in_camera_subtraction is False, seen)
            if warning is not None:
                out[place] = warning
    return out


def _judged(count: int, said_off: bool, seen: dict[str, bool]) -> FrameWarning | None:
    # A file that says "off" is a witness against.
    figures = {name: float(there) for name, there in seen.items()}
    if count - said_off >= 2:
        return warned("in_camera_subtraction", **figures)
    return warned("perhaps_subtracted", **figures) if count - said_off == 1 else None


def _too_short(facts: FrameFacts) -> bool:
    return facts.exposure_s is None or facts.exposure_s < REFERENCE_S


def _spaced(order: Sequence[int], members: Sequence[Candidate]) -> set[int]:
    """Frames of unbroken series whose starts all lie two exposures apart."""
    out: set[int] = set()
    run: list[int] = []
    for before, place in zip((None, *order), (*order, None), strict=True):
        if before is not None and place is not None and _next_but_one(members[before], members[place]):
            run = run or [before]
            run.append(place)
            continue
        if len(run) >= LEAST_FRAMES:
            out.update(run)
        run = []
    return out


def _next_but_one(a: Candidate, b: Candidate) -> bool:
    exposure, other = a.facts.exposure_s, b.facts.exposure_s
    if exposure is None or other is None or exposure < LEAST_EXPOSURE_S or not same_series_exposure(exposure, other):
        return False
    # Starts are often whole seconds.
    apart = seconds_between(a, b)
    return 2.0 * exposure - 1.0 <= apart <= 2.0 * exposure + max(SLACK_S, SLACK_SHARE * exposure)


def _reference(
    order: Sequence[int], members: Sequence[Candidate], decisions: Sequence[KindDecision]
) -> _Reference | None:
    plain: list[PixelFacts] = []
    for place in order:
        member, pixels = members[place], members[place].pixels
        short = member.facts.exposure_s is not None and member.facts.exposure_s < REFERENCE_S
        unlit = decisions[place].kind in (Kind.BIAS, Kind.DARK)
        if short and unlit and pixels is not None and "points_low" in pixels.structure:
            plain.append(pixels)
    if not plain:
        return None
    return _Reference(
        noise_dn=median(one.structure["noise_dn"] for one in plain),
        high=median(one.structure["points_high"] for one in plain),
        low=median(one.structure["points_low"] for one in plain),
        depth_sigma=median(_depth(one) for one in plain),
    )


def _depth(pixels: PixelFacts) -> float:
    return (pixels.median_dn - pixels.min_dn) / max(pixels.structure["noise_dn"], 1e-9)


def _noisy(pixels: PixelFacts | None, reference: _Reference | None) -> bool:
    if pixels is None or reference is None or "points_high" not in pixels.structure:
        return False
    figures = pixels.structure
    ratio = figures["noise_dn"] / max(reference.noise_dn, 1e-9)
    quiet = figures["points_high"] <= HOT_GROWTH * max(reference.high, HOT_LEAST)
    return NOISE_LOW <= ratio <= NOISE_HIGH and quiet


def _holes(pixels: PixelFacts | None, reference: _Reference | None) -> bool:
    if pixels is None or "points_low" not in pixels.structure:
        return False
    low, high = pixels.structure["points_low"], pixels.structure["points_high"]
    usual = 0.0 if reference is None else reference.low
    if low > max(HOLES_SHARE, 4.0 * usual) and low > HOLES_TO_HOT * high:
        return True
    return reference is not None and reference.depth_sigma > UNCUT_SIGMA and _depth(pixels) < CUT_SIGMA
