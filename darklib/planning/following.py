"""How far a plan is while its frames are shot: a function of the frames themselves, whatever order they came in.

Everything is worked out anew from the set of frames, by the times recorded in them: files that come late, twice or out
of order change nothing.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from darklib.facts.frame import BodyRef, Frame, Kind, Readout
from darklib.facts.plan import Step
from darklib.facts.train import TrainRef
from darklib.facts.units import exposures_equal
from darklib.matching.rules import hard_rule

SETTLED_C_PER_MINUTE = 0.1
"""A reading that changes more slowly has settled."""

LOOK_BACK = timedelta(minutes=10)
"""Over so much time the slope is taken: whole degrees tell no slope in less."""

LEAST_READINGS = 3

SHORTEST_S = 0.1
"""A frame of no known kind and no longer exposure may be a bias."""


@dataclass(frozen=True, slots=True)
class StepSoFar:
    """How far one step is. number: its place in the plan, from 1. counted: frames that count, at most step.frames.

    spare: frames that would count but are more than were asked for.
    """

    number: int
    step: Step
    counted: int
    spare: int

    @property
    def done(self) -> bool:
        return self.counted >= self.step.frames


@dataclass(frozen=True, slots=True)
class SoFar:
    """How far a plan is. now: number of the first step that is not done, None when all are.

    reading_c: the newest reading of the camera of that step; slope: degrees a minute, None with too few readings;
    inside: whether the reading lies where the step's frames count; settled: inside and the slope is small; None where
    the step is for any temperature or nothing was read yet. not_counted: frames that serve no step, by why.
    """

    steps: tuple[StepSoFar, ...]
    now: int | None
    reading_c: float | None
    slope_c_per_minute: float | None
    inside: bool | None
    settled: bool | None
    not_counted: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class _Asked:
    """A step as the rules of matching see it."""

    body: BodyRef | None
    readout: Readout
    filter: str | None = None
    train: TrainRef | None = None


def so_far(steps: Sequence[Step], frames: Iterable[Frame]) -> SoFar:
    """How far a plan is with these frames, of which the same content counts once. Frames are taken in the order of
    their times, each for the first step it serves that is not full.
    """
    once = {frame.sha256: frame for frame in frames}
    ordered = sorted(once.values(), key=lambda frame: (_moment(frame), frame.sha256))
    counted, spare = [0] * len(steps), [0] * len(steps)
    not_counted: dict[str, int] = {}
    for frame in ordered:
        serves, why = [], "other"
        for place, step in enumerate(steps):
            failed = _failed(step, frame)
            if failed is None:
                serves.append(place)
            elif failed == "temperature":
                why = failed
        open_ones = [place for place in serves if counted[place] < steps[place].frames]
        if open_ones:
            counted[open_ones[0]] += 1
        elif serves:
            spare[serves[-1]] += 1
        else:
            not_counted[why] = not_counted.get(why, 0) + 1
    done = [
        StepSoFar(number, step, counted[number - 1], spare[number - 1]) for number, step in enumerate(steps, start=1)
    ]
    now = next((one for one in done if not one.done), None)
    reading_c = slope = inside = settled = None
    if now is not None:
        readings = _readings(ordered, now.step)
        reading_c = readings[-1][1] if readings else None
        slope = slope_of(readings)
        low_c, high_c = now.step.low_c, now.step.high_c
        if reading_c is not None and low_c is not None and high_c is not None:
            inside = low_c - 1e-9 <= reading_c <= high_c + 1e-9
            settled = inside and slope is not None and abs(slope) < SETTLED_C_PER_MINUTE
    return SoFar(
        tuple(done), now.number if now else None, reading_c, slope, inside, settled, tuple(sorted(not_counted.items()))
    )


def _moment(frame: Frame) -> float:
    return frame.taken_at.timestamp() if frame.taken_at is not None else float("inf")


def _failed(step: Step, frame: Frame) -> str | None:
    """Why a frame does not serve a step: "temperature" where nothing else speaks against it, else "other"."""
    if hard_rule("dark", _Asked(step.body, step.readout), frame) is not None:
        return "other"
    if step.kind is Kind.BIAS:
        short = frame.exposure_s is not None and frame.exposure_s <= SHORTEST_S
        return None if frame.kind is Kind.BIAS or (frame.kind in (None, Kind.DARK) and short) else "other"
    if frame.kind not in (None, step.kind):
        return "other"
    if frame.exposure_s is None or not exposures_equal(step.exposure_s, frame.exposure_s):
        return "other"
    if step.low_c is None or step.high_c is None:
        return None
    value_c = _reading(frame)
    if value_c is None or not step.low_c - 1e-9 <= value_c <= step.high_c + 1e-9:
        return "temperature"
    return None


def _reading(frame: Frame) -> float | None:
    return frame.temperature_c if frame.temperature_c is not None else frame.set_temperature_c


def _readings(ordered: Iterable[Frame], step: Step) -> list[tuple[datetime, float]]:
    """Readings of the step's camera, in order of time: at any exposure, all show the sensor."""
    found = []
    for frame in ordered:
        value_c = _reading(frame)
        same = step.body is None or (frame.body is not None and frame.body.id == step.body.id)
        if same and frame.taken_at is not None and value_c is not None:
            found.append((frame.taken_at, value_c))
    return found


def slope_of(readings: Sequence[tuple[datetime, float]]) -> float | None:
    """Degrees a minute by a straight line through the last ten minutes, or the last three readings where those are
    further apart; None with fewer.
    """
    if len(readings) < LEAST_READINGS:
        return None
    last = readings[-1][0]
    recent = [one for one in readings if last - one[0] <= LOOK_BACK]
    if len(recent) < LEAST_READINGS or recent[0][0] > last - LOOK_BACK / 2:
        # Too little time or too few: as far back as it takes.
        back = range(len(readings) - LEAST_READINGS, -1, -1)
        first = next((place for place in back if last - readings[place][0] >= LOOK_BACK / 2), None)
        if first is None:
            return None
        recent = list(readings[first:])
    minutes = [(at - last).total_seconds() / 60.0 for at, _ in recent]
    values = [value for _, value in recent]
    mean_t, mean_v = sum(minutes) / len(minutes), sum(values) / len(values)
    spread = sum((t - mean_t) ** 2 for t in minutes)
    if spread <= 0:
        return None
    return sum((t - mean_t) * (v - mean_v) for t, v in zip(minutes, values, strict=True)) / spread
