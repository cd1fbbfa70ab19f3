"""What lights need and the library lacks, and the order in which to shoot it."""

from dataclasses import dataclass

from darklib.facts.frame import BodyRef, Kind, Readout
from darklib.facts.match import Verdict
from darklib.facts.train import TrainRef


@dataclass(frozen=True, slots=True)
class Interval:
    """Sensor temperatures at which a set would serve well, degrees C, both ends included, and the best of them."""

    low_c: float
    high_c: float
    shoot_at_c: float


@dataclass(frozen=True, slots=True)
class Gap:
    """Calibration frames that some lights lack. role: dark, flat, bias or dark_flat.

    need: frames of a good set; have: those of them that exist, so need - have are to be shot.
    still_possible: False where they can no longer be shot (a flat of a train since taken apart).
    cooled: whether the body has a cooler of its own; None where nothing says so.
    """

    kind: Kind
    role: str
    body: BodyRef | None
    readout: Readout
    exposure_s: float | None
    filter: str | None
    train: TrainRef | None
    lights_count: int
    lights_seconds: float
    batches: tuple[str, ...]
    interval: Interval | None
    have: int
    need: int
    verdict_now: Verdict
    still_possible: bool = True
    cooled: bool | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """Frames to shoot in one go: minutes include the download gap and, where the temperature changes, settling."""

    kind: Kind
    body: BodyRef | None
    readout: Readout
    exposure_s: float
    temperature_c: float | None
    frames: int
    minutes: float
    serves_lights: int


@dataclass(frozen=True, slots=True)
class Plan:
    """Steps in order and their total time in minutes. bound_minutes: the proven least, where the plan may not be it."""

    steps: tuple[Step, ...]
    total_minutes: float
    bound_minutes: float | None = None
