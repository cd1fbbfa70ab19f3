"""What follows from an ingest: may the card be erased, and is there a second copy of what it brought?

The answer is that of `check`, from what was read in this very run: a stored frame was hashed on the card, and its copy
read again and compared. Only of frames that the library had before is the stored copy read again now.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from darklib.facts.frame import Frame
from darklib.jobs.check import HARMLESS_TO_ERASE, copy_trouble, in_place_remarks, is_one_file
from darklib.jobs.library import Opened
from darklib.jobs.ports import Progress, Silent
from darklib.jobs.results import CheckResult, Duplicate, IngestResult, NotStored, PassedOver, SecondCopy, SetAsideFile
from darklib.jobs.second_copy import second_copy
from darklib.store.mishap import told
from darklib.store.names import shown, unshown

READ_AT_MOST = 4 * 10**9
"""Bytes of frames known before that are read again at the end of an ingest; beyond that `check PATH` must be asked."""

IN_PLACE = "It is catalogued where it lies: this file is the only one the library knows of."


@dataclass(frozen=True, slots=True)
class AfterIngest:
    """check: whether what was taken in may be erased from where it came; None where that was not asked or would take
    long, and `check PATH` tells. second_copy: None in a dry run.
    """

    check: CheckResult | None = None
    second_copy: SecondCopy | None = None


def after_ingest(opened: Opened, result: IngestResult, *, progress: Progress | None = None) -> AfterIngest:
    """What follows from a run of ingest that came to its end. Nothing is written."""
    if result.dry_run:
        return AfterIngest()
    return AfterIngest(_may_erase(opened, result, progress or Silent()), second_copy(opened))


def _may_erase(opened: Opened, result: IngestResult, progress: Progress) -> CheckResult | None:
    passed, aside = _passed_over(opened, result)
    if aside is None:
        return None
    in_place = {frame.id for frame in result.stored if frame.in_place}
    by_this_run = {frame.id for frame in result.stored} - in_place
    before = [one for one in result.duplicates if one.same_as not in by_this_run]
    troubles = _read_again(opened, before, progress)
    if troubles is None:
        return None
    not_stored = [NotStored(frame.source_path, "in_place", IN_PLACE) for frame in result.stored if frame.in_place]
    not_stored += troubles
    not_stored += [NotStored(one.path, one.code, one.reason) for one in result.set_aside if one.code in NOT_KEPT]
    set_aside = (*(one for one in result.set_aside if one.code not in NOT_KEPT), *aside)
    stored = len(result.stored) + len(result.duplicates) - len(in_place) - len(troubles)
    checked = stored + len(not_stored) + len(set_aside)
    return CheckResult(
        checked=checked,
        stored=stored,
        set_aside=set_aside,
        not_stored=tuple(not_stored),
        passed_over=tuple(passed),
        may_erase=checked > 0 and not not_stored and all(one.code in HARMLESS_TO_ERASE for one in set_aside),
        remarks=tuple(in_place_remarks(opened, [one.same_as for one in before])),
    )


NOT_KEPT = frozenset(("unreadable", "changed_while_read", "folder_unreadable"))
"""Codes of files set aside of which no copy is kept."""


def _passed_over(opened: Opened, result: IngestResult) -> tuple[list[PassedOver], list[SetAsideFile] | None]:
    """What was passed over, without files that were set aside by an earlier run; and those. None where their kept
    copies cannot be told.
    """
    known = [one for one in result.passed_over if one.code == "known_set_aside"]
    passed = [one for one in result.passed_over if one.code != "known_set_aside"]
    if not known:
        return passed, []
    rows = {row.source_path: row for row in opened.catalogue.set_aside()}
    aside = []
    for one in known:
        row = rows.get(one.path)
        if row is None:  # set aside from elsewhere: its content is known, but no longer to this job
            return passed, None
        with told(row.kept_path, "cannot see"):
            kept = opened.layout.reached(opened.seam, row.kept_path)
        trouble = copy_trouble(opened, kept, row.sha256) if row.code in HARMLESS_TO_ERASE else None
        aside.append(SetAsideFile(one.path, row.text, trouble[0] if trouble else row.code))
    return passed, aside


def _read_again(opened: Opened, before: Sequence[Duplicate], progress: Progress) -> list[NotStored] | None:
    """What is wrong with the stored copies of frames that were known before; None where they are too many bytes."""
    frames = {frame.id: frame for frame in _frames(opened, list(dict.fromkeys(one.same_as for one in before)))}
    size = sum(frame.size for frame in frames.values())
    if size > READ_AT_MOST:
        return None
    found: dict[str, tuple[str, str] | None] = {}
    progress.start(len(frames), size)
    for frame in frames.values():
        with told(frame.path, "cannot see"):
            copy = opened.layout.reached(opened.seam, frame.path)
        found[frame.id] = copy_trouble(opened, copy, frame.sha256)
        progress.advance(shown(str(copy)), frame.size)
    progress.finish()
    troubles = []
    for one in before:
        frame = frames[one.same_as]
        with told(frame.path, "cannot see"):
            copy = opened.layout.reached(opened.seam, frame.path)
        trouble = found[one.same_as]
        if trouble is None and _is_itself(opened, copy, one.path):
            trouble = "in_place", IN_PLACE
        if trouble is not None:
            troubles.append(NotStored(one.path, *trouble))
    return troubles


def _is_itself(opened: Opened, copy: Path, path: str) -> bool:
    """Whether the copy is the very file that was looked at; one taken away since (`--move`) is none."""
    with told(path, "cannot see"):
        there = [Path(text) for text in (path, unshown(path)) if opened.seam.exists(text)]
    return bool(there) and is_one_file(opened, copy, there[0])


def _frames(opened: Opened, ids: Sequence[str]) -> Iterator[Frame]:
    for start in range(0, len(ids), 500):
        yield from opened.catalogue.frames_by_id(ids[start : start + 500])
