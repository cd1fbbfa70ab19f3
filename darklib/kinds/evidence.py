"""The kind of a single frame from its pixels and its exposure."""

from darklib.facts.frame import FrameFacts, KindDecision, PixelFacts

UNDECIDED = KindDecision(None, None, 0.0, "nothing tells what it is")


def kind_from_pixels(facts: FrameFacts, pixels: PixelFacts) -> KindDecision:
    """What the frame is by its pixels; undecided in doubt."""
    return UNDECIDED
