"""The nights of frames that are looked at and not stored: a run of lights is one night here as in the library."""

from collections.abc import Sequence
from dataclasses import replace

from darklib.facts.frame import Frame, Kind
from darklib.facts.night import EARLY_AFTERNOON_S, Shot, after_noon_s, nights_of
from darklib.facts.settings import Site
from darklib.facts.units import instant_us, microseconds


def in_their_nights(frames: Sequence[Frame], site: Site) -> list[Frame]:
    """The frames, each in the night that the others among them give it; those that are stored stay where they are."""
    shots = [
        Shot(
            frame.id,
            frame.body.id if frame.body else None,
            frame.kind is Kind.LIGHT,
            instant_us(frame.taken_at),
            None if frame.exposure_s is None else microseconds(frame.exposure_s),
            frame.night,
            after_noon_s(frame.taken_at, site.timezone, site.longitude_deg) < EARLY_AFTERNOON_S,
        )
        for frame in frames
        if frame.kind in (Kind.LIGHT, Kind.FLAT) and frame.taken_at is not None and frame.night is not None
    ]
    nights = nights_of(shots)
    return [
        frame if frame.series is not None else replace(frame, night=nights.get(frame.id, frame.night))
        for frame in frames
    ]
