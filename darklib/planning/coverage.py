"""The picture of what there is: for each body and readout, darks and lights by degree and exposure, and what lacks."""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from darklib.facts.frame import BodyRef, Frame, Kind, Readout
from darklib.facts.plan import Cell, Coverage, Gap
from darklib.facts.units import exposures_equal


@dataclass(slots=True)
class _Picture:
    body: BodyRef | None
    readout: Readout
    exposures: list[float] = field(default_factory=list)
    have: dict[tuple[int, float], int] = field(default_factory=dict)
    lights: dict[tuple[int, float], int] = field(default_factory=dict)
    seconds: dict[tuple[int, float], float] = field(default_factory=dict)
    lacking: dict[tuple[int, float], int] = field(default_factory=dict)
    unknown: int = 0

    def exposure(self, value_s: float) -> float:
        """The exposure of the picture that this one is equal to."""
        known = next((one for one in self.exposures if exposures_equal(one, value_s)), None)
        if known is None:
            self.exposures.append(value_s)
            return value_s
        return known


def coverage_of(darks: Iterable[Frame], lights: Iterable[Frame], gaps: Sequence[Gap]) -> list[Coverage]:
    """One picture for each body and readout with lights or darks, by body, then setting. Combined frames count as the
    frames they were made of. Lacking frames stand at the degree at which they are best shot.
    """
    pictures: dict[tuple[str, str], _Picture] = {}

    def of(body: BodyRef | None, readout: Readout) -> _Picture:
        return pictures.setdefault((body.id if body else "", readout.key), _Picture(body, readout))

    for frame in sorted(darks, key=lambda one: (one.exposure_s or 0.0, one.id)):
        picture, place = _placed(of, frame)
        if place is None:
            picture.unknown += 1
        else:
            count = (frame.combined.count or 1) if frame.combined else 1
            picture.have[place] = picture.have.get(place, 0) + count
    for frame in sorted(lights, key=lambda one: (one.exposure_s or 0.0, one.id)):
        picture, place = _placed(of, frame)
        if place is None:
            picture.unknown += 1
        else:
            picture.lights[place] = picture.lights.get(place, 0) + 1
            picture.seconds[place] = picture.seconds.get(place, 0.0) + (frame.exposure_s or 0.0)
    for gap in gaps:
        if gap.kind is Kind.DARK and gap.interval is not None and gap.exposure_s and gap.need > gap.have:
            picture = of(gap.body, gap.readout)
            place = (math.floor(gap.interval.shoot_at_c + 0.5), picture.exposure(gap.exposure_s))
            picture.lacking[place] = picture.lacking.get(place, 0) + gap.need - gap.have
    return [_done(pictures[key]) for key in sorted(pictures) if pictures[key].have or pictures[key].lights]


def _placed(
    of: Callable[[BodyRef | None, Readout], _Picture], frame: Frame
) -> tuple[_Picture, tuple[int, float] | None]:
    picture = of(frame.body, frame.readout)
    value_c = frame.temperature_c if frame.temperature_c is not None else frame.set_temperature_c
    if value_c is None or not frame.exposure_s:
        return picture, None
    return picture, (math.floor(value_c + 0.5), picture.exposure(frame.exposure_s))


def _done(picture: _Picture) -> Coverage:
    places = sorted({*picture.have, *picture.lights, *picture.lacking})
    cells = tuple(
        Cell(
            degree_c=degree,
            exposure_s=exposure,
            have=picture.have.get((degree, exposure), 0),
            lights=picture.lights.get((degree, exposure), 0),
            lights_seconds=picture.seconds.get((degree, exposure), 0.0),
            lacking=picture.lacking.get((degree, exposure), 0),
        )
        for degree, exposure in places
    )
    return Coverage(picture.body, picture.readout, cells, picture.unknown)
