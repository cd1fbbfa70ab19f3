"""Making the catalogue anew from the stored files and the journal.

The new catalogue is made beside the old one and takes its place only when it is whole; the old one goes to `backups/`.
Stop anywhere: either the old or the new catalogue is in place, never half of one, and a half-made one is made again.
"""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from darklib.catalogue.catalogue import Catalogue, FrameQuery
from darklib.catalogue.contents import Rows, compared
from darklib.catalogue.schema import open_catalogue, refuse_newer
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Frame, TemperatureFrom
from darklib.jobs.against_journal import in_words
from darklib.jobs.derive import derive
from darklib.jobs.library import Opened, no_library, replay
from darklib.jobs.ports import Progress, Silent
from darklib.jobs.results import RebuildResult
from darklib.store import configuration
from darklib.store.durable import make_folders
from darklib.store.journal import new_run_id
from darklib.store.keeping_apart import alone
from darklib.store.layout import Library
from darklib.store.mishap import told
from darklib.store.seam import Seam

TOLD_BY_FRAME = frozenset({"frames", "series", "runs"})
"""Tables whose differences are told frame by frame, or come with every frame and run that is one."""

BESIDE = ("", "-wal", "-shm")
"""A SQLite catalogue is up to three files."""


def rebuild(
    root: Path, *, dry_run: bool = False, progress: Progress | None = None, seam: Seam | None = None
) -> RebuildResult:
    """Replays the journal from its first line into a new catalogue, takes in stored files that no journal knows, and
    names what the old catalogue held otherwise and what cannot be found. Works with a broken or missing catalogue.

    Raises DarklibError `newer_catalogue` where a newer darklib made the old one: it may know more than this one can.
    """
    seam = seam or Seam()
    layout = Library(root)
    with told(root, "cannot open the library"):
        if not seam.exists(layout.config):
            raise no_library()
    with alone(seam, layout):
        return _rebuild(seam, layout, dry_run, progress or Silent())


def _rebuild(seam: Seam, layout: Library, dry_run: bool, progress: Progress) -> RebuildResult:
    settings = configuration.load(seam, layout.config)
    refuse_newer(layout.catalogue)
    fresh = layout.cache / "catalogue-anew.sqlite"
    make_folders(seam, layout.cache)
    _away(seam, fresh)
    catalogue = open_catalogue(fresh, layout.backups, create=True)
    try:
        opened = Opened(layout, settings, catalogue, seam)
        _, troubled = replay(seam, layout.journal, catalogue)
        differences = [f"The journal file {name} has a line that cannot be read." for name in troubled]
        replayed = catalogue.contents()
        differences += _unjournalled(opened, progress, dry_run)
        differences += _against_the_old(seam, layout, catalogue, replayed)
        if not dry_run:
            derive(opened, read_lacking=True, progress=progress)
        rows = list(catalogue.everything())
        differences += [
            f"The file of frame {row.sha256[:16]} is not there: {opened.absolute(row.path)}."
            for row in rows
            if not _there(opened, row.path)
        ]
    finally:
        catalogue.close()
    backup = None
    if dry_run:
        _away(seam, fresh)
    else:
        backup = _change_places(seam, layout, fresh)
    return RebuildResult(len(rows), tuple(differences), backup, dry_run)


def _unjournalled(opened: Opened, progress: Progress, dry_run: bool) -> list[str]:
    """Stored files that no journal knows, of an interrupted run or put there by hand: looked at and recorded."""
    from darklib.jobs.ingest import adopt

    known = {row.path: row.sha256 for row in opened.catalogue.everything()}
    result = adopt(opened, known, dry_run=dry_run, progress=progress)
    lines = [f"Taken in from the library's own folders: {frame.path}." for frame in result.stored]
    missing = {sha256[:16]: path for path, sha256 in known.items() if not _there(opened, path)}
    for item in result.duplicates:
        if item.same_as in missing:
            lines.append(
                f"The file of frame {item.same_as} was renamed to {item.path}. "
                f"Give it its name again: {opened.absolute(missing[item.same_as])}."
            )
        else:
            lines.append(f"In the library's folders, a second copy of frame {item.same_as}: {item.path}.")
    lines += [f"In the library's folders and not readable as a frame: {item.path}." for item in result.set_aside]
    return lines


def _there(opened: Opened, path: str) -> bool:
    with told(path, "cannot see"):
        return opened.seam.exists(opened.layout.reached(opened.seam, path))


def _against_the_old(seam: Seam, layout: Library, fresh: Catalogue, replayed: Mapping[str, Rows]) -> list[str]:
    with told(layout.catalogue, "cannot see"):
        if not seam.exists(layout.catalogue):
            return ["There was no catalogue."]
    try:
        old = open_catalogue(layout.catalogue, layout.backups, create=False)
    except DarklibError as error:
        return [f"The old catalogue could not be read: {error.text}"]
    try:
        sound = old.integrity()
        if sound != "ok":
            return [f"The old catalogue could not be read: {sound}."]
        before, after = _frames(old), _frames(fresh)
        others = [one for one in compared(old.contents(), replayed) if one.table not in TOLD_BY_FRAME]
    except DarklibError as error:
        return [f"The old catalogue could not be read: {error.text}"]
    finally:
        old.close()
    lines = [f"Frame {sha[:16]} was in the old catalogue and in no journal." for sha in sorted(before.keys() - after)]
    lines += [f"Frame {sha[:16]} was not in the old catalogue." for sha in sorted(after.keys() - before)]
    for sha in sorted(before.keys() & after.keys()):
        fields = [name for name in Frame.__slots__ if getattr(before[sha], name) != getattr(after[sha], name)]
        if fields:
            lines.append(f"Frame {sha[:16]} was recorded otherwise: {', '.join(fields)}.")
    return lines + in_words(others, "The old catalogue")


def _frames(catalogue: Catalogue) -> dict[str, Frame]:
    """All frames; a train without its label, which newer versions may word otherwise, and without what was inferred,
    which is made anew.
    """
    frames = catalogue.frames(FrameQuery(retired=None)).frames
    return {frame.sha256: _as_recorded(frame) for frame in frames}


def _as_recorded(frame: Frame) -> Frame:
    train = None if frame.train is None else replace(frame.train, label="")
    frame = replace(frame, train=train, dark_ratio=None)
    if frame.temperature_from is TemperatureFrom.PIXELS:
        frame = replace(frame, temperature_c=None, temperature_error_c=None, temperature_from=None)
    return frame


def _change_places(seam: Seam, layout: Library, fresh: Path) -> str | None:
    backup = None
    with told(layout.catalogue, "cannot replace"):
        if seam.exists(layout.catalogue):
            make_folders(seam, layout.backups)
            backup = layout.backups / f"catalogue-before-rebuild-{new_run_id(seam)}.sqlite"
            # The side files first: without its main file a write-ahead log is ignored, beside a foreign one it would
            # not be.
            for suffix in reversed(BESIDE):
                part = layout.catalogue.with_name(layout.catalogue.name + suffix)
                if seam.exists(part):
                    seam.replace(part, backup.with_name(backup.name + suffix))
            seam.fsync_folder(layout.backups)
        seam.replace(fresh, layout.catalogue)
        seam.fsync_folder(layout.root)
    return None if backup is None else str(backup)


def _away(seam: Seam, path: Path) -> None:
    # In cache/, whose content is ours to take away.
    for suffix in BESIDE:
        part = path.with_name(path.name + suffix)
        with told(part, "cannot clear away"):
            if seam.exists(part):
                seam.unlink(part)
