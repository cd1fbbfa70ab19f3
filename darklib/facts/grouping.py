"""How frames fall into series: the key that defines one, without its exposure, and the spread of temperatures."""

from collections.abc import Iterable, Sequence
from statistics import median

from darklib.facts.frame import Frame, Kind
from darklib.facts.match import Temperatures
from darklib.facts.naming import night_name
from darklib.facts.units import same_series_exposure


def series_key(frame: Frame) -> str:
    """Canonical text of everything that makes frames one series except the exposure, which is compared with a tolerance
    against the series' own value. Darks and biases came through no train and of no target, whatever their headers say.
    """
    optical = frame.kind not in (Kind.DARK, Kind.BIAS)
    parts = (
        frame.kind.value if frame.kind else "",
        frame.body.key if frame.body else "",
        frame.readout.key,
        frame.night or "",
        (frame.filter or "") if optical else "",
        (frame.train.fingerprint if frame.train else "") if optical else "",
        (frame.target or "").casefold() if frame.kind in (Kind.LIGHT, None) else "",
    )
    return "\n".join(parts)


def series_definition(frame: Frame) -> str:
    """Everything that defines the series which this frame would begin: its key and its exposure."""
    return definition(series_key(frame), frame.exposure_s)


def definition(key: str, exposure_s: float | None) -> str:
    """A key of `series_key` with a series' own exposure, to three figures.

    Two series of one key differ by 2 percent or more, so three figures tell them apart; and a series that begins with
    another of its own frames (a bulb's 300.2 s for 300.0 s) mostly keeps its name.
    """
    return f"{key}\n" + ("" if exposure_s is None else f"{exposure_s:.3g}")


def series_id(key: str, exposure_s: float | None, night: str | None) -> str:
    """The id of a series, and of the batch that its lights are: night and five letters made from what defines it.

    exposure_s: the series' own exposure, that of the frame which began it.
    """
    return night_name(night, definition(key, exposure_s))


def in_series(exposure_s: float | None, own_exposure_s: float | None) -> bool:
    """Whether a frame of a series' key belongs to it by exposure. own_exposure_s: the series' own."""
    if exposure_s is None or own_exposure_s is None:
        return exposure_s is own_exposure_s
    return same_series_exposure(exposure_s, own_exposure_s)


def temperatures_of(values_c: Iterable[float | None]) -> Temperatures:
    """Least, median and greatest of the known temperatures, degrees C, and how many are unknown."""
    values = list(values_c)
    known = sorted(value for value in values if value is not None)
    if not known:
        return Temperatures(None, None, None, len(values))
    return Temperatures(known[0], float(median(known)), known[-1], len(values) - len(known))


def in_time_order(frames: Iterable[Frame]) -> tuple[Frame, ...]:
    """Frames sorted by time, then id; frames without a time come last."""
    return tuple(sorted(frames, key=_time_key))


def _time_key(frame: Frame) -> tuple[bool, float, str]:
    return (frame.taken_at is None, frame.taken_at.timestamp() if frame.taken_at else 0.0, frame.id)


def seconds_of(frames: Sequence[Frame]) -> float:
    """Total exposure of some frames, seconds; unknown exposures count nothing."""
    return sum(frame.exposure_s or 0.0 for frame in frames)
