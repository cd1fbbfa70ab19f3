"""What is to be served: the lights of one batch or part, or the flats that dark flats and biases are for."""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from statistics import median

from darklib.facts.frame import BodyRef, Frame, Readout
from darklib.facts.match import Batch, CalibrationSet, Series
from darklib.facts.train import TrainRef

Span = tuple[datetime, datetime]


@dataclass(frozen=True, slots=True)
class Target:
    """Frames that want calibration frames. span: first to last moment, where known.

    temperatures_c: of the frames where known; where none is, the cooler's set-points (`only_set_points`).
    """

    body: BodyRef | None
    readout: Readout
    filter: str | None
    train: TrainRef | None
    exposure_s: float | None
    temperatures_c: tuple[float, ...]
    night: str | None
    span: Span | None
    frames: tuple[Frame, ...]
    only_set_points: bool = False

    @property
    def median_c(self) -> float | None:
        return float(median(self.temperatures_c)) if self.temperatures_c else None

    def part(self, frames: tuple[Frame, ...]) -> "Target":
        """The same with some of its frames only."""
        temperatures_c, only_set_points = _temperatures(frames)
        return replace(
            self,
            frames=frames,
            temperatures_c=temperatures_c,
            only_set_points=only_set_points,
            span=span_of(frames),
        )

    @property
    def near(self) -> datetime | None:
        """About the middle of the night: one moment for all batches of a night, so that they share their questions."""
        if self.night is None:
            return None
        return datetime.fromisoformat(self.night).replace(tzinfo=UTC) + timedelta(days=1)


def lights_of(batch: Batch, lights: tuple[Frame, ...] | None = None) -> Target:
    """A batch, or the part of it that `lights` are, as a target."""
    frames = batch.frames if lights is None else lights
    temperatures_c, only_set_points = _temperatures(frames)
    return Target(
        batch.body,
        batch.readout,
        batch.filter,
        batch.train,
        batch.exposure_s,
        temperatures_c,
        batch.night,
        span_of(frames),
        frames,
        only_set_points,
    )


def flats_of(flats: CalibrationSet) -> Target:
    """A set of flats as the target of dark flats and biases."""
    temperatures_c, only_set_points = _temperatures(flats.frames)
    return Target(
        flats.body,
        flats.readout,
        flats.filter,
        flats.train,
        flats.exposure_s,
        temperatures_c,
        flats.last_night,
        span_of(flats.frames),
        flats.frames,
        only_set_points,
    )


def _temperatures(frames: tuple[Frame, ...]) -> tuple[tuple[float, ...], bool]:
    measured = tuple(frame.temperature_c for frame in frames if frame.temperature_c is not None)
    if measured:
        return measured, False
    set_points = tuple(frame.set_temperature_c for frame in frames if frame.set_temperature_c is not None)
    return set_points, bool(set_points)


def span_of(frames: tuple[Frame, ...]) -> Span | None:
    """First and last moment of some frames; None where no frame has a time."""
    moments = [frame.taken_at for frame in frames if frame.taken_at is not None]
    return (min(moments), max(moments)) if moments else None


def span_of_series(series: Series) -> Span | None:
    """First and last moment of a series."""
    return (series.first_at, series.last_at) if series.first_at is not None and series.last_at is not None else None


def nights_apart(a: str | None, b: str | None) -> int | None:
    """Whole days between two nights, never negative; None where one is not known."""
    if a is None or b is None:
        return None
    return abs((date.fromisoformat(a) - date.fromisoformat(b)).days)


def age_days(night: str | None, first_night: str | None, last_night: str | None) -> int | None:
    """Days from a night to the farthest frames of a set: a set merged over nights is as old as its oldest part."""
    ages = [age for age in (nights_apart(night, first_night), nights_apart(night, last_night)) if age is not None]
    return max(ages, default=None)
