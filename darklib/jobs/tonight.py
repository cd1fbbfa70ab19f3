"""What the stock serves already tonight: each camera's exposures, readouts and temperatures, best first."""

from collections.abc import Sequence
from datetime import datetime

from darklib.facts.frame import BodyRef, Frame, Kind
from darklib.facts.match import Series
from darklib.facts.plan import Served
from darklib.facts.units import exposures_equal
from darklib.jobs.asked import GapsAsked
from darklib.jobs.body_named import body_meant
from darklib.jobs.library import Opened
from darklib.jobs.match import matches_of
from darklib.jobs.to_come import model_frames
from darklib.planning.expected import Expected, batches_to_come, checked, lights_to_come
from darklib.planning.tonight import Setting, best_first, has_set_points, served_of, settings_of, usual_range


def tonight(opened: Opened, asked: GapsAsked, night: str, at: datetime) -> tuple[tuple[Served, ...], str]:
    """The settings of each camera with how well lights of them would be served, and what to say about temperatures."""
    rows: list[Served] = []
    notes: list[str] = []
    bodies = [body_meant(opened, asked.body)] if asked.body is not None else _bodies(opened)
    darks, lights = opened.catalogue.series(Kind.DARK), opened.catalogue.series(Kind.LIGHT)
    flats = opened.catalogue.series(Kind.FLAT)
    low_c, high_c = asked.temperature.low, asked.temperature.high
    checked(Expected(1.0, low_c, high_c))
    for body in bodies:
        own_darks = [one for one in darks if one.body is not None and one.body.id == body.id]
        own_lights = [one for one in lights if one.body is not None and one.body.id == body.id]
        own_darks = [one for one in own_darks if not _for_flats(one, own_lights, flats)]
        if not own_darks and not own_lights:
            continue
        frames = model_frames(opened, body)
        cooled = _cooled(opened, body, frames)
        reach = (low_c if low_c is not None else high_c, high_c if high_c is not None else low_c)
        if not cooled and reach == (None, None):
            usual = usual_range(own_lights, at.month)
            if usual is None:
                notes.append(f"{body.label}: how warm it will be is not known; say so with --temperature A:B.")
                continue
            reach = usual
            notes.append(
                f"{body.label}: {usual[0]:.1f} to {usual[1]:.1f} C are taken, as its lights had about this time of "
                "year; --temperature A:B says better."
            )
        settings = settings_of(own_darks, own_lights, cooled=cooled, low_c=reach[0], high_c=reach[1])
        rows += [_served(opened, setting, frames, night, at) for setting in settings]
    return tuple(best_first(rows)), " ".join(notes)


def _for_flats(darks: Series, lights: Sequence[Series], flats: Sequence[Series]) -> bool:
    """Whether darks are of an exposure that flats of the camera have and none of its lights."""

    def has(some: Sequence[Series]) -> bool:
        return any(
            one.exposure_s and darks.exposure_s and exposures_equal(one.exposure_s, darks.exposure_s)
            for one in some
            if one.body is not None and darks.body is not None and one.body.id == darks.body.id
        )

    return has(flats) and not has(lights)


def _bodies(opened: Opened) -> list[BodyRef]:
    return [row.ref for row in opened.catalogue.bodies() if row.frames]


def _cooled(opened: Opened, body: BodyRef, frames: Sequence[Frame]) -> bool:
    stated = opened.settings.cameras.get(body.id)
    if stated is not None and stated.cooled is not None:
        return stated.cooled
    return has_set_points(frames)


def _served(opened: Opened, setting: Setting, frames: Sequence[Frame], night: str, at: datetime) -> Served:
    model = next((frame for frame in frames if frame.readout.key == setting.readout.key), frames[0])
    one = Expected(setting.exposure_s, setting.low_c, setting.high_c, hours=20 * setting.exposure_s / 3600.0)
    lights = lights_to_come(one, model, setting.readout, night, at)
    return served_of(setting, matches_of(opened, batches_to_come(lights)))
