"""What a command asks of a job, already parsed: nights, ranges, filters, and what the user states about files."""

from dataclasses import dataclass

from darklib.facts.frame import Kind


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
