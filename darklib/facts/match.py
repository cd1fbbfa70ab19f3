"""Series, batches, sets and what is chosen for a batch. Shapes follow the JSON that other programs rely on."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from darklib.facts.frame import BodyRef, Frame, Kind, Readout
from darklib.facts.train import TrainRef


class Verdict(StrEnum):
    """How well a set serves, best first."""

    GOOD = "good"
    USABLE = "usable"
    POOR = "poor"
    MISSING = "missing"
    NOT_NEEDED = "not_needed"


class Use(StrEnum):
    """What a set is for: subtract it from the frames, scale it first, or use it on the flats."""

    SUBTRACT = "subtract"
    SCALE = "scale"
    WITH_FLATS = "with_flats"


@dataclass(frozen=True, slots=True)
class Temperatures:
    """Spread of the known temperatures of some frames, degrees C; unknown counts the frames without one."""

    min_c: float | None
    median_c: float | None
    max_c: float | None
    unknown: int


@dataclass(frozen=True, slots=True)
class Series:
    """Frames of one kind, body, readout, exposure, night, filter, train and target: a row of the catalogue."""

    id: str
    kind: Kind | None
    body: BodyRef | None
    readout: Readout
    exposure_s: float | None
    night: str | None
    filter: str | None
    train: TrainRef | None
    target: str | None
    count: int
    retired_count: int
    temperatures: Temperatures
    first_at: datetime | None
    last_at: datetime | None
    seconds: float


@dataclass(frozen=True, slots=True)
class Batch:
    """Lights of one night and target that want the same calibration frames. Frames sorted by time, then id."""

    id: str
    night: str | None
    target: str | None
    body: BodyRef | None
    readout: Readout
    exposure_s: float | None
    filter: str | None
    train: TrainRef | None
    temperatures: Temperatures
    frames: tuple[Frame, ...]
    pointing: str = "unknown"

    @property
    def count(self) -> int:
        return len(self.frames)


@dataclass(frozen=True, slots=True)
class CalibrationSet:
    """Calibration frames that belong together: one kind, body, readout and exposure; darks and biases of one
    temperature; flats of one night, filter and train. Frames sorted by time, then id; retired ones are left out.
    """

    id: str
    kind: Kind
    body: BodyRef | None
    readout: Readout
    exposure_s: float | None
    filter: str | None
    train: TrainRef | None
    temperatures: Temperatures
    set_temperature_c: float | None
    first_night: str | None
    last_night: str | None
    frames: tuple[Frame, ...]

    @property
    def count(self) -> int:
        return len(self.frames)


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a choice is what it is: a code of `facts/codes`, its sentence, figures with units in their names."""

    code: str
    text: str
    figures: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class NearMiss:
    """A set that a hard rule excluded: the rule's code tells which."""

    set: CalibrationSet
    failed: str


@dataclass(frozen=True, slots=True)
class Recipe:
    """How the frames of a choice are made into what is subtracted."""

    form: str
    scale: float | None = None
    needs_bias: bool = False


@dataclass(frozen=True, slots=True)
class Choice:
    """The set chosen for one purpose, with its mismatch. temperature_mismatch_c: dark minus light. None: not known."""

    verdict: Verdict
    set: CalibrationSet | None = None
    temperature_mismatch_c: float | None = None
    age_days: int | None = None
    use: Use | None = None
    recipe: Recipe | None = None
    time_cost_percent: float | None = None
    time_cost_percent_fixed: float | None = None
    time_cost_percent_dithered: float | None = None
    lights_factor: float | None = None
    no_dark_cost_percent: float | None = None
    hot_pixels_left_per_megapixel: float | None = None
    level_error_e: float | None = None
    flat_residual_percent: float | None = None
    dark_ratio: float | None = None
    stale: bool = False
    reasons: tuple[Reason, ...] = ()
    runners_up: tuple["Choice", ...] = ()
    near_misses: tuple[NearMiss, ...] = ()


@dataclass(frozen=True, slots=True)
class TrainChange:
    """A moment at which a train was taken apart, rotated or cleaned."""

    fingerprint: str
    at: datetime
    note: str


@dataclass(frozen=True, slots=True)
class BodyChange:
    """A moment at which a body changed: remapped, cleaned, firmware or modified."""

    body_id: str
    what: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Match:
    """What serves one batch, or one part of a batch whose temperatures drift beyond one set.

    single: what one set for the whole batch would cost, where it comes in parts.
    """

    batch: Batch
    part: int
    parts: int
    lights: tuple[Frame, ...]
    darks: Choice
    flats: Choice
    biases: Choice
    dark_flats: Choice
    single: Choice | None = None


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which series to fetch from the stock. None: any. Series with unknown exposure or temperature always qualify.

    Exposures in seconds and temperatures in degrees C are ranges with both ends included, compared with a series' own
    exposure and with its span of temperatures (overlap). near: series nearest to this moment come first, else the
    newest. Retired frames do not count; series of none but retired frames are not given.
    """

    kind: Kind
    body_id: str | None = None
    exposure_low_s: float | None = None
    exposure_high_s: float | None = None
    temperature_low_c: float | None = None
    temperature_high_c: float | None = None
    train: str | None = None
    filter: str | None = None
    near: datetime | None = None
    limit: int = 200
