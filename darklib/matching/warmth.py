"""How much warmer darks were than lights by their hot pixels alone, for cameras that record no temperature.

A frame's place on its body's scale of doublings comes from its dark ratio (`sensor/thermometer`); two frames of one
body and readout lie on one scale. No temperature is needed for the difference, only how many degrees a doubling takes.
"""

from collections.abc import Sequence
from dataclasses import replace
from statistics import median

from darklib.facts.frame import Frame
from darklib.facts.match import Choice, Reason

DOUBLING_C = 6.5
"""Degrees in which hot pixels double while the body's own darks have not told (common practice: 5 to 8, no single
source)."""


def place_c(frame: Frame) -> float | None:
    """Where a frame lies on its body's scale, in degrees of which only differences count; None where unknown."""
    if frame.dark_ratio is None or frame.dark_ratio.doublings is None:
        return None
    return DOUBLING_C * frame.dark_ratio.doublings


def doublings_apart(lights: Sequence[Frame], darks: Sequence[Frame]) -> float | None:
    """Doublings from the lights to the darks, positive for warmer darks; None where most of either have no place."""
    places = [
        [
            one.dark_ratio.doublings
            for one in some
            if one.dark_ratio is not None and one.dark_ratio.doublings is not None
        ]
        for some in (lights, darks)
    ]
    if any(len(place) * 2 <= len(some) for place, some in zip(places, (lights, darks), strict=True)):
        return None
    return median(places[1]) - median(places[0])


def by_hot_pixels(apart: float, served: str) -> tuple[float, tuple[Reason, ...]]:
    """The difference in degrees, dark minus light, and the reason that says how it is known."""
    mismatch_c = round(DOUBLING_C * apart, 1) + 0.0
    way = "warmer" if apart > 0 else "colder"
    side = f"about {abs(mismatch_c):.1f} C {way} than" if mismatch_c else "as warm as"
    text = f"By their hot pixels the darks were {side} the {served}; the temperatures of both are not known."
    return mismatch_c, (Reason("temperature_mismatch", text, {"temperature_mismatch_c": mismatch_c}),)


def with_ratio(choice: Choice, lights: Sequence[Frame], exposure_s: float | None) -> Choice:
    """The choice with its dark ratio: the hot-pixel signal of the lights over that of the darks it holds."""
    if choice.set is None or not exposure_s or not choice.set.exposure_s:
        return choice
    apart = doublings_apart(lights, choice.set.frames)
    if apart is None:
        return choice
    return replace(choice, dark_ratio=round(2.0**-apart * exposure_s / choice.set.exposure_s, 4))
