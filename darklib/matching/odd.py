"""Frames of a set that do not belong to it, by the figures the catalogue has of each: they are left out of the match.

Frames away from their set-point are not among them: `sets` has them in a set of their own, with the temperature they
had.
"""

from collections.abc import Sequence
from dataclasses import replace

from darklib.facts.frame import Frame, Kind
from darklib.facts.grouping import temperatures_of
from darklib.facts.match import CalibrationSet, Reason
from darklib.sensor.odd_frames import FrameFigures, Odd, odd_frames

MOST_NAMED = 3


def odd_in(one: CalibrationSet) -> list[Odd]:
    """The odd frames of a set; none of a set of fewer than five."""
    return odd_frames([figures_of(frame) for frame in one.frames], lit=one.kind is Kind.FLAT)


def without_odd(one: CalibrationSet) -> tuple[CalibrationSet, CalibrationSet | None, tuple[Reason, ...]]:
    """A set without its odd frames, those as a set of their own (None where there are none), and the reason to tell."""
    odd = odd_in(one)
    if not odd:
        return one, None, ()
    names = {item.name for item in odd}
    rest = _with(one, [frame for frame in one.frames if frame.id not in names])
    apart = replace(_with(one, [frame for frame in one.frames if frame.id in names]), id=f"{one.id}-odd")
    told = ", ".join(item.name for item in odd[:MOST_NAMED]) + (" and more" if len(odd) > MOST_NAMED else "")
    frames = "frame is" if len(odd) == 1 else "frames are"
    text = f"{len(odd)} {frames} left out, because {odd[0].what}: {told}."
    return rest, apart, (Reason("odd_frame", text, {"frames_left_out": float(len(odd))}),)


def figures_of(frame: Frame) -> FrameFigures:
    """A frame's cheap figures: level and robust noise over all pixels."""
    step_dn = float(frame.readout.dn_step or 1)
    return FrameFigures(name=frame.id, level_dn=frame.median_dn, noise_dn=frame.mad_dn, step_dn=step_dn)


def _with(one: CalibrationSet, frames: Sequence[Frame]) -> CalibrationSet:
    return replace(one, frames=tuple(frames), temperatures=temperatures_of(frame.temperature_c for frame in frames))
