"""Frames of a run that are not stored yet: waiting to be decided on, or their bytes being copied."""

from concurrent.futures import Future
from dataclasses import dataclass, replace
from pathlib import Path

from darklib.facts.errors import DarklibError
from darklib.facts.frame import FrameFacts, FrameRecord, Kind, KindDecision, PixelFacts, Statement
from darklib.jobs.hot_evidence import without_hot
from darklib.jobs.library import Opened
from darklib.kinds.groups import Candidate
from darklib.readers.open import Look
from darklib.store.hashing import hash_file
from darklib.store.names import shown
from darklib.store.seam import Seam
from darklib.store.walk import Found

NOT_HASHED = frozenset(("reading_hung", "reading_crashed"))
"""Refusals of files that took their reader with them before it could tell their hash."""


@dataclass(slots=True)
class Waiting:
    """A readable frame that is not stored yet."""

    found: Found
    look: Look
    facts: FrameFacts
    pixels: PixelFacts | None
    decision: KindDecision | None = None
    extra: tuple[Statement, ...] = ()

    def candidate(self, stated: Kind | None) -> Candidate:
        """As what it is decided on. stated: the kind the user gives to all."""
        parts = tuple(shown(part) for part in self.found.relative_parts)
        return Candidate(self.facts, self.pixels, parts[:-1], parts[-1], stated)


@dataclass(slots=True)
class Copying:
    """A frame whose bytes are on their way to their place."""

    waiting: Waiting
    record: FrameRecord
    statements: tuple[Statement, ...]
    path: "Future[Path]"


def to_wait(opened: Opened, found: Found, look: Look, facts: FrameFacts, *, dry_run: bool) -> Waiting:
    """A readable frame, its hot pixels already in `cache/`: in memory those of a whole card would be too many."""
    return Waiting(found, without_hot(opened, look, dry_run=dry_run), facts, look.pixels)


def identified(seam: Seam, found: Found, look: Look) -> Look:
    """The answer with the file's hash, where its reader did not live to tell it: without one nothing can be kept."""
    if look.sha256 or look.refusal is None or look.refusal.code not in NOT_HASHED:
        return look
    try:
        return replace(look, sha256=hash_file(seam, found.path)[0])
    except DarklibError:
        return look
