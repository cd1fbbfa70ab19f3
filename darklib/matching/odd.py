"""Frames of a set that do not belong to it, by the figures the catalogue has of each."""

from darklib.facts.frame import Frame
from darklib.sensor.odd_frames import FrameFigures


def figures_of(frame: Frame) -> FrameFigures:
    """A frame's cheap figures: level and robust noise over all pixels, temperature and set-point."""
    return FrameFigures(
        name=frame.id,
        level_dn=frame.median_dn,
        noise_dn=frame.mad_dn,
        temperature_c=frame.temperature_c,
        set_temperature_c=frame.set_temperature_c,
    )
