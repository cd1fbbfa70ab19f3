"""Lights as batches: those of one night and target that want the same calibration frames."""

from collections.abc import Iterable

from darklib.facts.frame import Frame, Kind
from darklib.facts.grouping import in_series, in_time_order, series_id, series_key, temperatures_of
from darklib.facts.match import Batch


def grouped(frames: Iterable[Frame]) -> dict[str, tuple[Frame, ...]]:
    """Frames by the id of their series, each in order of time; the order of what comes in does not matter.

    A frame that already knows its series stays there. The others fall into series by `facts/grouping`; an exposure is
    compared with that of the series' first frame, so that a slow drift of exposures does not chain.
    """
    groups: dict[str, list[Frame]] = {}
    by_key: dict[str, list[tuple[float | None, str]]] = {}
    for frame in in_time_order(frames):
        name = frame.series
        if name is None:
            key = series_key(frame)
            known = by_key.setdefault(key, [])
            name = next((own for exposure_s, own in known if in_series(frame.exposure_s, exposure_s)), None)
            if name is None:
                name = series_id(key, frame.exposure_s, frame.night)
                known.append((frame.exposure_s, name))
        groups.setdefault(name, []).append(frame)
    return {name: tuple(members) for name, members in groups.items()}


def batches_of(frames: Iterable[Frame]) -> list[Batch]:
    """The batches of some frames' lights, by time of their first light, then id. Retired lights are left out."""
    lights = (frame for frame in frames if frame.kind is Kind.LIGHT and not frame.retired)
    batches = [batch_of(name, members) for name, members in grouped(lights).items()]
    return sorted(batches, key=lambda batch: (_first(batch.frames), batch.id))


def batch_of(name: str, lights: tuple[Frame, ...]) -> Batch:
    """The batch that some lights of one series are. lights: at least one, in order of time."""
    first = lights[0]
    return Batch(
        id=name,
        night=first.night,
        target=first.target,
        body=first.body,
        readout=first.readout,
        exposure_s=first.exposure_s,
        filter=first.filter,
        train=first.train,
        temperatures=temperatures_of(light.temperature_c for light in lights),
        frames=lights,
    )


def _first(lights: tuple[Frame, ...]) -> tuple[bool, float]:
    moment = lights[0].taken_at
    return (moment is None, moment.timestamp() if moment else 0.0)
