"""Lights to come, as batches that can be matched like those that exist: stated, or as they were shot in a month before.

They are made after a light (else another frame) of the same camera, since only that tells frame size and the like.
"""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from darklib.facts.errors import DarklibError, Exit
from darklib.facts.frame import Frame, Kind, Readout
from darklib.facts.match import Batch, Choice, Match, Verdict
from darklib.matching.batches import batches_of

COLDEST_C, WARMEST_C = -60.0, 60.0
"""No camera cools further, and none should be this warm."""

MOST_FRAMES = 2000
"""So many lights at most stand for those to come."""


@dataclass(frozen=True, slots=True)
class Expected:
    """Lights somebody means to shoot. low_c, high_c: sensor temperatures, None where nothing was said; hours: of
    exposure, None where nothing was said: one hour then.
    """

    exposure_s: float
    low_c: float | None = None
    high_c: float | None = None
    gain: float | None = None
    iso: int | None = None
    hours: float | None = None


def checked(one: Expected) -> Expected:
    """The same, if such lights can be. Raises DarklibError (usage) with one sentence where not."""
    if one.exposure_s <= 0:
        raise _usage("Lights of no exposure are no lights.", "Write seconds, as in 300s.")
    if one.gain is not None and one.iso is not None:
        raise _usage("A camera has a gain or an ISO, not both.", "Leave out one of the two.")
    if one.hours is not None and not 0 < one.hours <= 1000:
        raise _usage(f"{one.hours:g} hours of light is nothing to plan for.", "Write hours above 0 and up to 1000.")
    for value in (one.low_c, one.high_c):
        if value is not None and not COLDEST_C <= value <= WARMEST_C:
            raise _usage(
                f"No sensor of a camera is at {value:g} C while it shoots.",
                f"Write degrees C between {COLDEST_C:g} and {WARMEST_C:g}.",
            )
    if one.low_c is not None and one.high_c is not None and one.low_c > one.high_c:
        raise _usage("The temperatures end below where they begin.", "Write the colder one first.")
    return one


def _usage(text: str, remedy: str) -> DarklibError:
    return DarklibError("usage", text, remedy=remedy, status=Exit.USAGE)


def lights_to_come(one: Expected, model: Frame, readout: Readout, night: str, at: datetime) -> list[Frame]:
    """Lights as expected, spread evenly over the temperatures; model: a frame of the camera that will take them."""
    many = max(1, min(MOST_FRAMES, round((one.hours or 1.0) * 3600.0 / one.exposure_s)))
    low_c, high_c = one.low_c, one.high_c if one.high_c is not None else one.low_c
    if low_c is None and high_c is not None:
        low_c = high_c
    lights = []
    for place in range(many):
        share = place / (many - 1) if many > 1 else 0.5
        temperature_c = None if low_c is None or high_c is None else round(low_c + (high_c - low_c) * share, 2)
        set_c = temperature_c if model.set_temperature_c is not None else None
        lights.append(_like(model, f"{one}|{place}", readout, one.exposure_s, temperature_c, night, at, place, set_c))
    return lights


def _like(
    model: Frame, what: str, readout: Readout, exposure_s: float, temperature_c: float | None,
    night: str, at: datetime, place: int, set_c: float | None,
) -> Frame:  # fmt: skip
    sha256 = hashlib.sha256(f"to come|{model.sha256}|{what}".encode()).hexdigest()
    return replace(
        model,
        id=sha256[:16],
        sha256=sha256,
        kind=Kind.LIGHT,
        readout=readout,
        exposure_s=exposure_s,
        temperature_c=temperature_c,
        temperature_error_c=None,
        set_temperature_c=set_c,
        filter=None,
        train=None,
        target=None,
        night=night,
        taken_at=at + timedelta(seconds=place * exposure_s),
        combined=None,
        in_camera_subtraction=None,
        median_dn=None,
        warnings=(),
        retired=False,
        series=None,
        dark_ratio=None,
    )


def as_again(lights: Iterable[Frame], night: str, at: datetime) -> list[Frame]:
    """Lights of earlier nights as if they were shot again tonight: their darks' age is counted from then."""
    return [
        _like(
            light,
            "again",
            light.readout,
            light.exposure_s,
            light.temperature_c,
            night,
            at,
            place,
            light.set_temperature_c,
        )
        for place, light in enumerate(lights)
        if light.exposure_s is not None
    ]


def batches_to_come(lights: Sequence[Frame]) -> list[Batch]:
    """Batches of lights to come."""
    return batches_of(lights)


def without_flats(one: Match) -> Match:
    """A match of lights to come: their flats are shot with them, so none can lack yet."""
    none = Choice(Verdict.NOT_NEEDED)
    return replace(one, flats=none, dark_flats=none)


def readout_for(one: Expected, frames: Sequence[Frame]) -> Readout:
    """The readout of that gain or ISO in which most of a camera's frames were taken; what was not said is as usual."""
    fitting = [
        frame
        for frame in frames
        if (one.gain is None or frame.readout.gain == one.gain) and (one.iso is None or frame.readout.iso == one.iso)
    ]
    if fitting:
        keys = [frame.readout.key for frame in fitting]
        usual = max(sorted(set(keys)), key=keys.count)
        return next(frame.readout for frame in fitting if frame.readout.key == usual)
    keys = [frame.readout.key for frame in frames]
    usual = max(sorted(set(keys)), key=keys.count)
    readout = next(frame.readout for frame in frames if frame.readout.key == usual)
    return replace(readout, gain=one.gain, iso=one.iso)
