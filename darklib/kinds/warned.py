"""A warning about a frame, with its sentence from the table of codes."""

from darklib.facts.codes import WARNINGS
from darklib.facts.frame import FrameWarning


def warned(code: str, **figures: float) -> FrameWarning:
    """A warning with its sentence."""
    return FrameWarning(code, WARNINGS[code], {name: float(value) for name, value in figures.items()})
