"""Matches of lights to come: as stated, or as the same month's lights of earlier years would be served tonight."""

from collections.abc import Sequence
from datetime import datetime

from darklib.catalogue.catalogue import FrameQuery
from darklib.facts.errors import DarklibError, Exit
from darklib.facts.frame import BodyRef, Frame, Kind
from darklib.facts.match import Match
from darklib.jobs.asked import Nights
from darklib.jobs.body_named import body_meant
from darklib.jobs.library import Opened
from darklib.jobs.match import batches_asked, matches_of
from darklib.planning.expected import (
    Expected,
    as_again,
    batches_to_come,
    checked,
    lights_to_come,
    readout_for,
    without_flats,
)

LOOKED_AT = 2000
"""So many frames of a camera tell in which readout it is used."""


def body_of_library(opened: Opened, text: str | None) -> BodyRef:
    """The camera meant; the only one where none was named. DarklibError where that is not one camera."""
    if text is not None:
        return body_meant(opened, text)
    rows = [row for row in opened.catalogue.bodies() if row.frames]
    if not rows:
        raise DarklibError(
            "no_frames",
            "There is no camera in this library yet, so nobody can tell what its lights will be.",
            remedy="Take in some frames of it with `darklib ingest`.",
        )
    if len(rows) > 1:
        names = ", ".join(row.ref.label for row in rows)
        raise DarklibError(
            "usage",
            "There are several cameras, and the lights to come are of one of them.",
            remedy=f"Name it with --body: {names}.",
            status=Exit.USAGE,
        )
    return rows[0].ref


def model_frames(opened: Opened, body: BodyRef) -> Sequence[Frame]:
    """Frames that tell how a camera is used: its lights, else its other frames. DarklibError where there are none."""
    for kind in (Kind.LIGHT, Kind.DARK, None):
        query = FrameQuery(kind=kind, body=body.id, retired=False, limit=LOOKED_AT)
        frames = opened.catalogue.frames(query).frames
        if frames:
            return frames
    raise DarklibError(
        "no_frames",
        f"There is no frame of {body.label} in this library, so nobody can tell what its lights will be.",
        remedy="Take in some frames of it with `darklib ingest`.",
    )


def expected_matches(
    opened: Opened, expected: Sequence[Expected], body: str | None, night: str, at: datetime
) -> list[Match]:
    """What would serve lights as expected, if they were shot tonight."""
    lights: list[Frame] = []
    for one in expected:
        checked(one)
    ref = body_of_library(opened, body)
    frames = model_frames(opened, ref)
    for one in expected:
        readout = readout_for(one, frames)
        if one.low_c is None and one.high_c is None and frames[0].set_temperature_c is None:
            raise DarklibError(
                "usage",
                f"Darks for {one.exposure_s:g} s depend on the temperature, and none was given.",
                remedy="Add it, as in --expect '300s 8:12C'.",
                status=Exit.USAGE,
            )
        model = next((frame for frame in frames if frame.readout.key == readout.key), frames[0])
        if one.low_c is None and one.high_c is None:
            point = model.set_temperature_c
            one = Expected(one.exposure_s, point, point, one.gain, one.iso, one.hours)
        lights += lights_to_come(one, model, readout, night, at)
    return _matched(opened, lights)


def month_matches(opened: Opened, month: int, body: str | None, night: str, at: datetime) -> list[Match]:
    """What would serve the lights of that month in all years, if they were shot again tonight."""
    ref = body_meant(opened, body) if body is not None else None
    lights: list[Frame] = []
    for batch in batches_asked(opened, nights=Nights()).batches:
        if batch.night is None or int(batch.night[5:7]) != month:
            continue
        if ref is not None and (batch.body is None or batch.body.id != ref.id):
            continue
        lights += as_again(batch.frames, night, at)
    return _matched(opened, lights)


def _matched(opened: Opened, lights: Sequence[Frame]) -> list[Match]:
    return [without_flats(one) for one in matches_of(opened, batches_to_come(lights))]
