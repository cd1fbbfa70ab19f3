"""The journal's entries: everything that ever changed a library, as data. The catalogue is the replay of these.

One line holds one entry, `{"do": <name>, ...fields}`; `encode` and `decode` are exact inverses. A program that meets a
name it does not know must stop with a clear sentence: a newer darklib wrote it.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from darklib.facts.errors import DarklibError
from darklib.facts.frame import FrameRecord, Statement
from darklib.facts.plain import from_plain, to_plain


@dataclass(frozen=True, slots=True)
class RunStarted:
    """First line of a run's file."""

    run: str
    command: str
    arguments: tuple[str, ...]
    at: datetime
    version: str
    host: str


@dataclass(frozen=True, slots=True)
class Stored:
    """A frame was taken in; its file is durable before this line is written. statements: what the user stated."""

    record: FrameRecord
    statements: tuple[Statement, ...] = ()


@dataclass(frozen=True, slots=True)
class Seen:
    """A file with the content of a frame already known was seen elsewhere."""

    sha256: str
    source_path: str
    modified: datetime


@dataclass(frozen=True, slots=True)
class SetAside:
    """A file could not be taken; kept_path is relative to the library."""

    sha256: str
    source_path: str
    kept_path: str
    code: str
    text: str
    version: str


@dataclass(frozen=True, slots=True)
class SetAsideSettled:
    """A file once set aside has been taken in after all."""

    sha256: str


@dataclass(frozen=True, slots=True)
class Stated:
    """The user corrected one field of some frames. `statement` numbers the correction, for undoing."""

    statement: str
    sha256s: tuple[str, ...]
    field: str
    value: str | float | None
    note: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Unstated:
    """A correction was undone for some of its frames; none named (as older journals have it): for all of them."""

    statement: str
    at: datetime
    sha256s: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Retired:
    """Frames are kept, but no longer matched."""

    sha256s: tuple[str, ...]
    note: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Restored:
    """Retired frames are matched again."""

    sha256s: tuple[str, ...]
    at: datetime


@dataclass(frozen=True, slots=True)
class Measured:
    """New figures for a stored frame, of a newer measurement version. `figures` is a PixelFacts as plain values."""

    sha256: str
    figures: dict[str, Any]


@dataclass(frozen=True, slots=True)
class BodyNamed:
    """The user gave a body a label."""

    body_id: str
    label: str
    at: datetime


@dataclass(frozen=True, slots=True)
class BodiesJoined:
    """Frames of body_id belong to into_id: one camera, known first without and later with its serial number."""

    body_id: str
    into_id: str
    at: datetime


@dataclass(frozen=True, slots=True)
class BodyChanged:
    """what: remapped, cleaned, firmware or modified."""

    body_id: str
    what: str
    note: str
    at: datetime


@dataclass(frozen=True, slots=True)
class TrainChanged:
    """A train was taken apart, rotated or cleaned."""

    fingerprint: str
    note: str
    at: datetime


@dataclass(frozen=True, slots=True)
class CopyChecked:
    """A second copy of the library was compared with it and lacked nothing.

    copy: the folder it is in. frames: how many stored frames there were, all of them compared; frames catalogued in
    place are in no copy and do not count. at: when the comparison began.
    """

    copy: str
    frames: int
    at: datetime


@dataclass(frozen=True, slots=True)
class RunEnded:
    """Last line of a run that came to its end; a run without one was interrupted."""

    run: str
    at: datetime
    counts: dict[str, int]


Entry = (
    RunStarted | Stored | Seen | SetAside | SetAsideSettled | Stated | Unstated | Retired | Restored | Measured
    | BodyNamed | BodiesJoined | BodyChanged | TrainChanged | CopyChecked | RunEnded
)  # fmt: skip

NAMES: dict[str, type[Any]] = {
    "run_started": RunStarted,
    "stored": Stored,
    "seen": Seen,
    "set_aside": SetAside,
    "set_aside_settled": SetAsideSettled,
    "stated": Stated,
    "unstated": Unstated,
    "retired": Retired,
    "restored": Restored,
    "measured": Measured,
    "body_named": BodyNamed,
    "bodies_joined": BodiesJoined,
    "body_changed": BodyChanged,
    "train_changed": TrainChanged,
    "copy_checked": CopyChecked,
    "run_ended": RunEnded,
}
_BY_TYPE = {cls: name for name, cls in NAMES.items()}


def encode(entry: Entry) -> dict[str, Any]:
    """An entry as plain JSON values with its name under `do`."""
    return {"do": _BY_TYPE[type(entry)], **to_plain(entry)}


def decode(line: dict[str, Any]) -> Entry:
    """The entry of plain values. Raises DarklibError for a name this version does not know."""
    cls = NAMES.get(line.get("do", ""))
    if cls is None:
        raise DarklibError(
            "newer_journal",
            f"The journal holds an entry {line.get('do')!r} that this version of darklib does not know.",
            remedy="Use the newer version of darklib that wrote it.",
        )
    return from_plain(cls, {key: value for key, value in line.items() if key != "do"})  # type: ignore[no-any-return]
