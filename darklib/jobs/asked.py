"""What a command asks of a job, already parsed: nights, ranges, filters, and what the user states about files."""

from dataclasses import dataclass

from darklib.facts.frame import Kind
from darklib.planning.expected import Expected


@dataclass(frozen=True, slots=True)
class Nights:
    """Nights as ISO dates, both ends included; None is open. last: the newest with lights, both ends then None."""

    low: str | None = None
    high: str | None = None
    last: bool = False

    @property
    def any(self) -> bool:
        """Whether every night will do."""
        return self.low is None and self.high is None and not self.last


@dataclass(frozen=True, slots=True)
class Span:
    """A range of numbers, both ends included; None is open."""

    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class FramesAsked:
    """Which frames to list. body and train: an id, a label or a unique beginning of one. exposure: seconds;
    temperature: degrees C. retired: only retired frames, else only others. undecided: only frames without a kind.
    after: a frame's id.
    """

    kind: Kind | None = None
    body: str | None = None
    nights: Nights = Nights()
    exposure: Span = Span()
    temperature: Span = Span()
    filter: str | None = None
    train: str | None = None
    target: str | None = None
    retired: bool = False
    undecided: bool = False
    limit: int | None = None
    after: str | None = None


@dataclass(frozen=True, slots=True)
class Stated:
    """What the user states about all files of one ingest. clock_shift_s: seconds to add to the times in the files."""

    kind: Kind | None = None
    train: str | None = None
    body: str | None = None
    temperature_c: float | None = None
    clock_shift_s: float | None = None


@dataclass(frozen=True, slots=True)
class GapsAsked:
    """What lacks for whom, and what to make of it. body: an id, a label or a unique beginning of one.

    plan: order it; evening_minutes: only the most valuable part that fits, which is a plan too. expected: lights to
    come; month: those of that month in earlier years as if they came again, 1 to 12. tonight: what is served already,
    at temperature_c where given. coverage: the picture of what there is. room_c, humidity_percent: of the air the
    camera comes back into, None where nothing was said.
    """

    nights: Nights = Nights()
    target: str | None = None
    body: str | None = None
    plan: bool = False
    evening_minutes: float | None = None
    expected: tuple[Expected, ...] = ()
    month: int | None = None
    tonight: bool = False
    temperature: Span = Span()
    coverage: bool = False
    room_c: float | None = None
    humidity_percent: float | None = None

    @property
    def wants_plan(self) -> bool:
        """Whether a plan is to be made."""
        return self.plan or self.evening_minutes is not None
