"""What the jobs return: frozen dataclasses with facts inside, shaped and named like the JSON other programs rely on.

`needs_attention` says whether the command ends with exit status 3. Paths here are absolute, except those inside a
Frame, which are relative to the library unless `in_place`; `show/documents` makes them absolute.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from darklib.facts.frame import BodyRef, Fact, Frame, Ignored, Kind
from darklib.facts.match import Batch, BodyChange, CalibrationSet, Match, TrainChange, Verdict
from darklib.facts.plan import CoolDown, Coverage, Gap, Habit, Plan, Served
from darklib.facts.train import TrainFacts, TrainRef
from darklib.jobs.safety_results import CheckResult as CheckResult
from darklib.jobs.safety_results import Finding as Finding
from darklib.jobs.safety_results import NotStored as NotStored
from darklib.jobs.safety_results import PassedOver as PassedOver
from darklib.jobs.safety_results import SecondCopy as SecondCopy
from darklib.jobs.safety_results import SetAsideFile as SetAsideFile
from darklib.jobs.safety_results import VerifyResult as VerifyResult


@dataclass(frozen=True, slots=True)
class InitResult:
    """A library was made at `library`; timezone was written into its configuration."""

    library: str
    timezone: str
    dry_run: bool = False


@dataclass(frozen=True, slots=True)
class BodyEntry:
    """One camera. joined: ids of the bodies that were found to be this one."""

    ref: BodyRef
    frames: int
    first_at: datetime | None
    last_at: datetime | None
    changes: tuple[BodyChange, ...] = ()
    joined: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LastIngest:
    """The newest run of `ingest`. ended: False where it was interrupted."""

    run: str
    at: datetime
    ended: bool
    counts: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class StatusResult:
    """The library at a glance. frames: number by kind ("light", "dark", "bias", "flat"), without undecided and
    retired ones.

    inbox_files: files waiting in the inbox. gaps: what the lights of `last_night`, the newest night with lights, lack.
    journal: lines of the journal that could not be read when the library was opened.
    """

    library: str
    version: str
    timezone: str
    bodies: tuple[BodyEntry, ...]
    frames: Mapping[str, int]
    undecided: int
    retired: int
    bytes: int
    set_aside: int
    inbox_files: int
    last_ingest: LastIngest | None
    last_night: str | None
    gaps: tuple[Gap, ...]
    second_copy: SecondCopy = field(default_factory=SecondCopy)
    journal: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class IngestCounts:
    """Files by outcome; seen is the sum of stored, duplicates, set_aside and passed_over. bytes: of what was stored."""

    seen: int = 0
    stored: int = 0
    duplicates: int = 0
    set_aside: int = 0
    passed_over: int = 0
    undecided: int = 0
    bytes: int = 0


@dataclass(frozen=True, slots=True)
class Duplicate:
    """A file whose content the library already has as the frame `same_as`."""

    path: str
    same_as: str


@dataclass(frozen=True, slots=True)
class KindGroup:
    """Frames that are one kind. example: path of one of them. ask: the kind is undecided and the user should settle it.

    exposures_s, hint: for the question to a person: the exposures in the group, and what was seen, in words.
    """

    id: str
    kind: Kind | None
    kind_confidence: float
    count: int
    example: str
    ask: bool
    exposures_s: tuple[float, ...] = ()
    hint: str = ""


@dataclass(frozen=True, slots=True)
class IngestResult:
    """What became of the files. run: None in a dry run. remarks: what else the user should know of this run; removed:
    files taken away from the source, once their content was safe.
    """

    run: str | None
    dry_run: bool
    counts: IngestCounts
    stored: tuple[Frame, ...] = ()
    duplicates: tuple[Duplicate, ...] = ()
    set_aside: tuple[SetAsideFile, ...] = ()
    passed_over: tuple[PassedOver, ...] = ()
    groups: tuple[KindGroup, ...] = ()
    remarks: tuple[str, ...] = ()
    removed: int = 0

    @property
    def needs_attention(self) -> bool:
        return self.counts.set_aside > 0 or self.counts.undecided > 0


@dataclass(frozen=True, slots=True)
class FramesResult:
    """One page of frames; next: the id to give as `after` for the page that follows."""

    frames: tuple[Frame, ...]
    next: str | None = None


@dataclass(frozen=True, slots=True)
class SetEntry:
    """A set and the whole days since its last night."""

    set: CalibrationSet
    age_days: int | None


@dataclass(frozen=True, slots=True)
class SetsResult:
    """Sets, sorted by time, then id."""

    sets: tuple[SetEntry, ...]


@dataclass(frozen=True, slots=True)
class Changed:
    """One field of one thing (a frame, body or train, by id) that was changed."""

    id: str
    field: str
    old: str | float | bool | None
    new: str | float | bool | None


@dataclass(frozen=True, slots=True)
class ChangedResult:
    """What a correction changed; empty where everything already was so. remarks: what followed from it."""

    changed: tuple[Changed, ...]
    dry_run: bool = False
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BodiesResult:
    """The cameras, after the change where one was made. remarks: what followed from it, or is worth knowing of them."""

    bodies: tuple[BodyEntry, ...]
    changed: tuple[Changed, ...] = ()
    dry_run: bool = False
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TrainEntry:
    """One optical train and the nights (ISO dates, sorted) it was used in."""

    ref: TrainRef
    facts: TrainFacts
    nights: tuple[str, ...]
    changes: tuple[TrainChange, ...] = ()


@dataclass(frozen=True, slots=True)
class TrainsResult:
    """The trains, after the change where one was made."""

    trains: tuple[TrainEntry, ...]
    changed: tuple[Changed, ...] = ()
    dry_run: bool = False


@dataclass(frozen=True, slots=True)
class BatchesResult:
    """Batches of lights, sorted by time, then id."""

    batches: tuple[Batch, ...]


@dataclass(frozen=True, slots=True)
class MatchResult:
    """One match a part of a batch. unread: paths given that could not be looked at."""

    matches: tuple[Match, ...]
    unread: tuple[SetAsideFile, ...] = ()

    @property
    def needs_attention(self) -> bool:
        return bool(self.unread) or wanting(self.matches)


@dataclass(frozen=True, slots=True)
class GapsResult:
    """What lights lack; plan: None unless asked for. lights: whether there were any to ask for.

    cool_downs: for cameras without a cooler, with a plan. habit: the exposure that the darks there are serve best.
    tonight: what is served already, None unless asked for; tonight_note: what to say about it. coverage: the picture
    of what there is, None unless asked for. written: files that were written, absolute. following: id of the gap to go
    on after.
    """

    gaps: tuple[Gap, ...]
    plan: Plan | None = None
    cautions: tuple[str, ...] = ()
    lights: bool = True
    cool_downs: tuple[CoolDown, ...] = ()
    habit: Habit | None = None
    tonight: tuple[Served, ...] | None = None
    tonight_note: str = ""
    coverage: tuple[Coverage, ...] | None = None
    written: tuple[str, ...] = ()
    following: str | None = None


@dataclass(frozen=True, slots=True)
class ExportResult:
    """What was handed over: absolute paths of the files written, of the manifest, and ids of the batches."""

    written: tuple[str, ...]
    manifest: str
    batches: tuple[str, ...]
    matches: tuple[Match, ...] = ()
    dry_run: bool = False

    @property
    def needs_attention(self) -> bool:
        return wanting(self.matches)


@dataclass(frozen=True, slots=True)
class RebuildResult:
    """The catalogue made anew. differences: what the old one held otherwise; backup: where the old one is."""

    frames: int
    differences: tuple[str, ...] = ()
    backup: str | None = None
    dry_run: bool = False


@dataclass(frozen=True, slots=True)
class Amendment:
    """One correction of one frame. old: the value before it; undone: it no longer holds."""

    field: str
    value: str | float | None
    old: str | float | None
    note: str
    at: datetime
    run: str
    undone: bool = False


@dataclass(frozen=True, slots=True)
class ExplainResult:
    """All that is known of one file. frame: None where it cannot be read, and then refusal says why.

    facts: read, measured, inferred and stated ones; `origin` tells which. stored: whether the library has it.
    sources: every place it was seen. kind_why: how the kind was settled, in words.
    """

    path: str
    stored: bool
    frame: Frame | None
    facts: tuple[Fact, ...] = ()
    ignored: tuple[Ignored, ...] = ()
    amendments: tuple[Amendment, ...] = ()
    sources: tuple[str, ...] = ()
    kind_why: str = ""
    refusal: SetAsideFile | None = None


@dataclass(frozen=True, slots=True)
class SetAsideEntry:
    """A file that was set aside: where it came from, where it is kept (absolute), why, by which run and version."""

    path: str
    kept_path: str
    reason: str
    code: str
    sha256: str
    run: str
    version: str


@dataclass(frozen=True, slots=True)
class SetAsideResult:
    """What is set aside now. retried: what came of trying again; None unless asked for."""

    set_aside: tuple[SetAsideEntry, ...]
    retried: IngestResult | None = None


@dataclass(frozen=True, slots=True)
class DemoResult:
    """A library for the demo and beside it the folders that stand for memory cards, nothing taken in yet.

    cards: in the order they would be taken in; options: what the owner of each states. export_to: for the hand-over.
    """

    library: str
    cards: tuple[str, ...]
    export_to: str
    dry_run: bool = False
    options: tuple[tuple[str, ...], ...] = ()


def wanting(matches: tuple[Match, ...]) -> bool:
    """Whether a needed choice of any match is missing or stale."""
    return any(
        choice.verdict is Verdict.MISSING or (choice.stale and choice.verdict is not Verdict.NOT_NEEDED)
        for match in matches
        for choice in (match.darks, match.flats, match.biases, match.dark_flats)
    )
