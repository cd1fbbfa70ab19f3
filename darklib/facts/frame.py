"""What is known of one frame: as read from the file, as measured on its pixels, and the outcome.

Four sorts of facts are kept apart: read (`FrameFacts`), measured (`PixelFacts`), inferred (`KindDecision`) and
stated by the user (`Statement`). `facts/resolve` alone ranks them into a `Frame`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from darklib.facts.train import NO_TRAIN, TrainFacts, TrainRef


class Kind(StrEnum):
    """What a frame is. A dark flat is a dark that matches flats: a role, not a kind."""

    LIGHT = "light"
    DARK = "dark"
    BIAS = "bias"
    FLAT = "flat"


class KindFrom(StrEnum):
    """How the kind is known, strongest first."""

    USER = "user"
    HEADER = "header"
    PATH = "path"
    PIXELS = "pixels"


class TemperatureFrom(StrEnum):
    """How the sensor temperature is known."""

    USER = "user"
    HEADER = "header"
    MAKERNOTE = "makernote"
    PIXELS = "pixels"


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact as read: `value` in `unit`, from keyword or tag `where`, whose text there is `raw`.

    origin: header, exif, makernote, structure (image size, file form). note: how it was understood when not plainly
    ("taken as kelvin"), else empty; a note means the value deserves a second look.
    """

    name: str
    value: str | int | float | bool | None
    unit: str
    origin: str
    where: str
    raw: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Ignored:
    """A card or tag that was seen and not used, and why."""

    where: str
    raw: str
    why: str


@dataclass(frozen=True, slots=True)
class FrameWarning:
    """Something worth knowing about a frame: a code of `facts/codes`, its sentence, figures named with their units."""

    code: str
    text: str
    figures: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Combined:
    """What a master was made of: how many frames, how, whether their bias was removed, whether it was normalised."""

    count: int | None = None
    method: str | None = None
    bias_removed: bool | None = None
    normalised: bool | None = None


@dataclass(frozen=True, slots=True)
class FrameFacts:
    """What the file itself says; None where it says nothing that can be understood.

    format: fits, cr2, cr3, nef, arw, raf, rw2, orf, pef, dng, mrw. exposure_s: seconds. gain: the unitless setting;
    e_per_dn: electrons per DN where the file tells; offset: the setting in DN. binning: x, y. width, height, origin_x,
    origin_y: sensor pixels after binning, as stored. cfa: letters row by row ("RGGB"), cfa_rows x cfa_columns.
    sensor_temperature_c is the sensor's; ambient_temperature_c the air's, never used for the sensor.
    taken_at: start of the exposure, aware where the file names a zone or UTC, else naive local time (`time_origin` says
    which keyword). The night is no fact of a file: it is worked out in `facts/resolve` and `facts/night`.
    in_camera_subtraction: the camera took its own dark off (long-exposure noise reduction).
    compression: none, lossless, lossy. demosaiced: pixels no longer are sensor values.
    """

    format: str
    kind: Kind | None = None
    make: str | None = None
    model: str | None = None
    serial: str | None = None
    exposure_s: float | None = None
    gain: float | None = None
    iso: int | None = None
    offset: float | None = None
    e_per_dn: float | None = None
    readout_mode: str | None = None
    binning: tuple[int, int] = (1, 1)
    width: int | None = None
    height: int | None = None
    origin_x: int | None = None
    origin_y: int | None = None
    cfa: str | None = None
    cfa_rows: int | None = None
    cfa_columns: int | None = None
    row_order: str | None = None
    bits: int | None = None
    black_dn: float | None = None
    white_dn: float | None = None
    sensor_temperature_c: float | None = None
    temperature_origin: str | None = None
    set_temperature_c: float | None = None
    ambient_temperature_c: float | None = None
    filter: str | None = None
    train: TrainFacts = NO_TRAIN
    focuser_position: float | None = None
    rotator_deg: float | None = None
    pixel_size_um: float | None = None
    target: str | None = None
    taken_at: datetime | None = None
    time_origin: str | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    pier_side: str | None = None
    in_camera_subtraction: bool | None = None
    compression: str | None = None
    demosaiced: bool = False
    combined: Combined | None = None
    facts: tuple[Fact, ...] = ()
    ignored: tuple[Ignored, ...] = ()
    warnings: tuple[FrameWarning, ...] = ()


@dataclass(frozen=True, slots=True)
class PlaneLevel:
    """Levels of one CFA colour ("" for mono): median, MAD, 3-sigma-clipped mean and its standard deviation, DN."""

    colour: str
    median_dn: float
    mad_dn: float
    mean_dn: float
    sd_dn: float


@dataclass(frozen=True, slots=True)
class PixelFacts:
    """What the pixels say: a function of the file's bytes and the measurement `version` alone, so cached for ever.

    All levels in DN, exact from the 16-bit histogram unless `exact` is False (floating-point or 32-bit data).
    saturated_fraction: share of pixels at or above the white level (or the top value where they pile up).
    dn_step: greatest common divisor of the pixel values' distances. zero_rows: rows that are one constant value.
    structure: figures of spatial structure by name, defined in `pixels/structure`.
    """

    version: int
    width: int
    height: int
    median_dn: float
    mad_dn: float
    mean_dn: float
    sd_dn: float
    min_dn: float
    max_dn: float
    saturated_fraction: float
    dn_step: int | None
    zero_rows: int
    planes: tuple[PlaneLevel, ...] = ()
    structure: Mapping[str, float] = field(default_factory=dict)
    exact: bool = True


@dataclass(frozen=True, slots=True)
class KindDecision:
    """What a frame is taken for: `kind` None is undecided; `confidence` 0..1; `why` in words."""

    kind: Kind | None
    source: KindFrom | None
    confidence: float
    why: str = ""
    warnings: tuple[FrameWarning, ...] = ()


@dataclass(frozen=True, slots=True)
class Statement:
    """One thing the user stated about a frame: `field` of STATED_FIELDS, as text in the journal.

    value None takes the field back to what the file says.
    """

    field: str
    value: str | float | None


STATED_FIELDS = (
    "kind",
    "train",
    "body",
    "temperature_c",
    "target",
    "filter",
    "taken_at",
    "clock_shift_s",
    "exposure_s",
)


@dataclass(frozen=True, slots=True)
class BodyRef:
    """One physical camera: `id` is its short name (model and five letters), the same on every machine."""

    id: str
    key: str
    label: str
    make: str | None
    model: str | None
    serial: str | None


def _canonical(part: str | float | None) -> str:
    return "" if part is None else f"{part:g}" if isinstance(part, float) else str(part)


@dataclass(frozen=True, slots=True)
class Readout:
    """What must be equal before two frames can be compared. black_dn and white_dn are told, never compared."""

    gain: float | None = None
    iso: int | None = None
    offset: float | None = None
    binning: tuple[int, int] = (1, 1)
    readout_mode: str | None = None
    width: int | None = None
    height: int | None = None
    origin_x: int | None = None
    origin_y: int | None = None
    cfa: str | None = None
    row_order: str | None = None
    bits: int | None = None
    dn_step: int | None = None
    black_dn: float | None = None
    white_dn: float | None = None

    @property
    def key(self) -> str:
        """Canonical text of what is compared; equal keys are equal readouts."""
        compared = (self.gain, self.iso, self.offset, *self.binning, self.readout_mode, self.width, self.height)
        place = (self.origin_x, self.origin_y, self.cfa, self.row_order, self.bits, self.dn_step)
        return "|".join(_canonical(part) for part in compared + place)


@dataclass(frozen=True, slots=True)
class FrameRecord:
    """All that is kept of a frame besides what the user states: what the journal stores and the catalogue is made of.

    path: relative to the library with forward slashes, or absolute where `in_place`. zone: the IANA zone in which
    times without one are read. source_path and modified: where and how old the file was when taken in.
    longitude_deg: of the site by the configuration, east positive; what the file says goes first.
    """

    sha256: str
    size: int
    path: str
    in_place: bool
    read: FrameFacts
    measured: PixelFacts | None
    decision: KindDecision
    zone: str
    source_path: str
    modified: datetime
    longitude_deg: float | None = None

    @property
    def id(self) -> str:
        """The frame's id: the first 16 hexadecimal digits of its SHA-256."""
        return self.sha256[:16]


@dataclass(frozen=True, slots=True)
class DarkRatio:
    """A frame's hot-pixel signal over that of the set of darks `against` (a series' id); error: one sigma of value.

    doublings: where the frame lies on the scale of its body and readout, exposure allowed for; only differences count.
    """

    value: float
    error: float
    against: str
    doublings: float | None = None


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame as matching, planning and people see it: the outcome of all four sorts of facts."""

    id: str
    sha256: str
    size: int
    path: str
    in_place: bool
    source_path: str
    kind: Kind | None
    kind_from: KindFrom | None
    kind_confidence: float
    body: BodyRef | None
    readout: Readout
    cfa_rows: int | None
    cfa_columns: int | None
    exposure_s: float | None
    temperature_c: float | None
    temperature_error_c: float | None
    temperature_from: TemperatureFrom | None
    set_temperature_c: float | None
    filter: str | None
    train: TrainRef | None
    target: str | None
    taken_at: datetime | None
    time_from: str | None
    night: str | None
    combined: Combined | None
    row_order: str | None
    median_dn: float | None
    mad_dn: float | None
    saturated_fraction: float | None
    in_camera_subtraction: bool | None = None
    rotator_deg: float | None = None
    focuser_position: float | None = None
    warnings: tuple[FrameWarning, ...] = ()
    retired: bool = False
    series: str | None = None
    dark_ratio: DarkRatio | None = None
