"""What lights need and the library lacks, and the order in which to shoot it."""

from dataclasses import dataclass

from darklib.facts.frame import BodyRef, DarkRatio, Kind, Readout
from darklib.facts.match import Verdict
from darklib.facts.naming import five_letters
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
    cooled: whether the body has a cooler of its own; None where nothing says so. frame_bytes: how large a frame will
    be, as the largest of the lights. dark_ratio: where the lights' temperature is unknown, how strong their hot pixels
    are. remedy: what can be done still, in words, where shooting alone is not the answer. expected: no light asks for
    it yet; it is for lights to come.
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
    frame_bytes: int | None = None
    dark_ratio: DarkRatio | None = None
    remedy: str = ""
    expected: bool = False

    @property
    def id(self) -> str:
        """Five letters made from what defines the gap; the same as long as the same lights lack the same."""
        body = self.body.id if self.body else ""
        train = self.train.fingerprint if self.train else ""
        between = (self.interval.low_c, self.interval.high_c) if self.interval is not None else ()
        parts = (self.role, body, self.readout.key, self.exposure_s, self.filter, train, between, self.batches)
        return f"gap-{five_letters(repr(parts))}"


@dataclass(frozen=True, slots=True)
class Step:
    """Frames to shoot in one go: minutes include the download gap and, where the temperature changes, settling.

    low_c, high_c: readings between which a frame counts. how: cooler, outdoors or fridge, outdoors or freezer,
    outdoors, any; in words. settling_minutes: that part of the minutes. bytes: space on the card, None where unknown.
    gaps and batches: ids of what it serves. lights_seconds: exposure of the lights it serves.
    """

    kind: Kind
    body: BodyRef | None
    readout: Readout
    exposure_s: float
    temperature_c: float | None
    frames: int
    minutes: float
    serves_lights: int
    low_c: float | None = None
    high_c: float | None = None
    how: str = "any"
    settling_minutes: float = 0.0
    bytes: int | None = None
    gaps: tuple[str, ...] = ()
    batches: tuple[str, ...] = ()
    lights_seconds: float = 0.0


@dataclass(frozen=True, slots=True)
class Evening:
    """A plan cut to the time at hand. served_seconds of lights, of all that could be planned; bound_seconds: more than
    that no choice serves, where the choice may not be the best. left_out: ids of gaps that did not fit.
    """

    minutes: float
    served_seconds: float
    asked_seconds: float
    left_out: tuple[str, ...]
    bound_seconds: float | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """Steps in order and their total time in minutes. bound_minutes: the proven least, where the plan may not be it.

    bytes: space on the card, None where not all is known. evening: where only part of it fits the time at hand.
    """

    steps: tuple[Step, ...]
    total_minutes: float
    bound_minutes: float | None = None
    bytes: int | None = None
    evening: Evening | None = None


@dataclass(frozen=True, slots=True)
class Cooling:
    """How a camera's reading falls once it is put into the cold: ends at end_c and halves the rest every half_minutes.

    start_c: where earlier series began. series: how many were learned from.
    """

    start_c: float
    end_c: float
    half_minutes: float
    series: int


@dataclass(frozen=True, slots=True)
class DegreeFrames:
    """Frames a cool-down run leaves between low_c and low_c + 1."""

    low_c: float
    frames: int


@dataclass(frozen=True, slots=True)
class CoolDown:
    """Shooting one exposure without a pause while the camera cools. cooling None: how it cools is not known yet.

    minutes: until the reading keeps still within a degree of its end. lacking: ids of gaps left, with frames short.
    """

    body: BodyRef | None
    readout: Readout
    exposure_s: float
    cooling: Cooling | None
    minutes: float | None
    frames: tuple[DegreeFrames, ...]
    serves: tuple[str, ...]
    lacking: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Habit:
    """The exposure whose darks, as they are, would serve most of the lights of one body and readout, had all of them
    been of that exposure.
    """

    body: BodyRef | None
    readout: Readout
    exposure_s: float
    served_seconds: float
    all_seconds: float


@dataclass(frozen=True, slots=True)
class Served:
    """How well the stock serves lights of one exposure and readout between two temperatures (one set-point: equal)."""

    body: BodyRef | None
    readout: Readout
    exposure_s: float
    low_c: float | None
    high_c: float | None
    set_point: bool
    verdict: Verdict
    frames: int
    age_days: int | None
    time_cost_percent: float | None
    used_seconds: float


@dataclass(frozen=True, slots=True)
class Cell:
    """One degree and exposure of the picture of what there is: frames that exist, lights that ask, frames that lack."""

    degree_c: int
    exposure_s: float
    have: int
    lights: int
    lights_seconds: float
    lacking: int


@dataclass(frozen=True, slots=True)
class Coverage:
    """The picture of the darks of one body and readout. unknown: frames without a temperature."""

    body: BodyRef | None
    readout: Readout
    cells: tuple[Cell, ...]
    unknown: int
