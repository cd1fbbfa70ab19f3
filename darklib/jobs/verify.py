"""Reading everything again: files against hashes, catalogue against journal, a second copy against both."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from darklib.catalogue.catalogue import StoredRow
from darklib.facts.entries import SetAside, Stored, decode
from darklib.facts.errors import DarklibError, Exit
from darklib.jobs.against_journal import differences
from darklib.jobs.check import HASHING_THREADS
from darklib.jobs.copy_compared import files_of_record, in_place_remark, noted, strangers
from darklib.jobs.interrupt import SafeStop
from darklib.jobs.library import Opened
from darklib.jobs.ports import Progress, Silent
from darklib.jobs.results import Finding, VerifyResult
from darklib.store import journal
from darklib.store.hashing import hash_file
from darklib.store.layout import Library
from darklib.store.mishap import told
from darklib.store.names import shown
from darklib.store.walk import Found, walk_own


@dataclass(slots=True)
class _Findings:
    checked: int = 0
    intact: int = 0
    differing: list[Finding] = field(default_factory=list)
    missing: list[Finding] = field(default_factory=list)
    unknown: list[Path] = field(default_factory=list)
    catalogue: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Held:
    """A file that the library holds. frame_id: None for what was set aside."""

    path: str
    sha256: str
    size: int
    in_place: bool = False
    frame_id: str | None = None


def verify(
    opened: Opened,
    *,
    sample: float | None = None,
    against: str | None = None,
    dry_run: bool = False,
    progress: Progress | None = None,
) -> VerifyResult:
    """Reads and hashes every stored file and every kept copy of what was set aside (or a random share of them), and
    compares files, journal and catalogue. Each finding says what to do.

    sample: share of the files, 0 to 1. against: a folder that holds a second copy of the library, compared file by
    file instead of the library's own files. No file, frame or fact is changed; that a second copy was compared whole
    and lacked nothing is noted in the journal (not with `dry_run`), since a library with one copy has no backup.
    """
    if sample is not None and not 0 < sample <= 1:
        raise DarklibError(
            "bad_sample", f"A sample is a share above 0 and at most 1, not {sample:g}.", status=Exit.USAGE
        )
    progress = progress or Silent()
    began = opened.seam.now()
    found = _Findings()
    rows = list(opened.catalogue.everything())
    held = [*map(_frame_held, rows), *_set_aside_held(opened)]
    wanted = _sampled(opened, held, sample)
    root = opened.root if against is None else _second_copy(opened, against)
    _files(opened, wanted, root, found, progress, second=against is not None)
    if against is None:
        _foreign(opened, rows, found)
        _renamed(opened, found)
    else:
        _copied(opened, root, held, found)
    whole_copy = against is not None and sample is None and not found.differing and not found.missing
    _journal(opened, rows, found, progress, row_by_row=sample is None and against is None)
    integrity = opened.catalogue.integrity()
    if integrity != "ok":
        found.catalogue.append(f"{integrity} Run `darklib rebuild`.")
    in_place = [row.path for row in rows if row.in_place] if against is not None else []
    stored = sum(not row.in_place for row in rows)
    if whole_copy and stored and not dry_run:
        trouble = noted(opened, root, stored, began)
        whole_copy = trouble is None
        found.remarks += [trouble] if trouble else []
    remark = in_place_remark(in_place)
    found.remarks += [remark] if remark else []
    return VerifyResult(
        checked=found.checked,
        intact=found.intact,
        differing=tuple(found.differing),
        missing=tuple(found.missing),
        unknown_files=tuple(shown(str(path)) for path in found.unknown),
        catalogue=" ".join(found.catalogue) or "ok",
        against=None if against is None else str(root),
        remarks=tuple(found.remarks),
        in_place=tuple(shown(path) for path in in_place),
        noted=None if against is None else whole_copy and stored > 0 and not dry_run,
        dry_run=dry_run,
    )


def _frame_held(row: StoredRow) -> _Held:
    return _Held(row.path, row.sha256, row.size, row.in_place, row.sha256[:16])


def _set_aside_held(opened: Opened) -> list[_Held]:
    """Kept copies; of a file that was catalogued in place nothing is kept."""
    layout = opened.layout
    return [
        _Held(row.kept_path, row.sha256, 0)
        for row in opened.catalogue.set_aside()
        if layout.holds(layout.absolute(row.kept_path))
    ]


def _sampled(opened: Opened, rows: list[_Held], sample: float | None) -> list[_Held]:
    if sample is None or not rows:
        return rows
    # The hash is as good as chance; a new starting point each time lets samples add up to everything.
    start = int.from_bytes(opened.seam.token(8).encode()[:8], "big") / 2**64
    chosen = [row for row in rows if (int(row.sha256[:12], 16) / 16**12 - start) % 1.0 < sample]
    return chosen or rows[:1]


def _second_copy(opened: Opened, against: str) -> Path:
    root = Path(opened.seam.absolute(against))
    with told(root, "cannot see"):
        is_folder = opened.seam.is_folder(root)
        itself = opened.seam.real(root) == opened.seam.real(opened.root)
    if not is_folder:
        raise DarklibError(
            "not_found", f"There is no folder {shown(str(root))}.", path=shown(str(root)), remedy="Check the name."
        )
    if itself:
        raise DarklibError("same_folder", "The second copy is the library itself.", remedy="Give the other folder.")
    return root


def _files(
    opened: Opened, rows: list[_Held], root: Path, found: _Findings, progress: Progress, *, second: bool
) -> None:
    rows = [row for row in rows if not (second and row.in_place)]
    progress.start(len(rows), sum(row.size for row in rows))
    gone = "Copy it anew from the library." if second else "Take in the card again, or copy it from a second copy."
    spoilt = gone if second else f"Move it away. {gone}"
    with SafeStop() as stop, ThreadPoolExecutor(HASHING_THREADS) as pool:

        def hashed(row: _Held) -> str | DarklibError | None:
            try:
                with told(row.path, "cannot read"):
                    path = _place(opened, row, root, second)
                    if not opened.seam.exists(path):
                        return None
                return hash_file(opened.seam, path)[0]
            except DarklibError as error:
                return error

        for row, outcome in zip(rows, pool.map(hashed, rows), strict=True):
            if stop.asked:
                pool.shutdown(wait=False, cancel_futures=True)
                break
            found.checked += 1
            path = shown(str((root if second else opened.root) / row.path))
            if outcome == row.sha256:
                found.intact += 1
            elif outcome is None:
                found.missing.append(Finding(path, row.frame_id, "missing", f"The file is not there. {gone}"))
            elif isinstance(outcome, DarklibError):
                found.differing.append(Finding(path, row.frame_id, "unreadable", f"{outcome.text} {spoilt}"))
            else:
                text = f"The content is not what was stored. {spoilt}"
                found.differing.append(Finding(path, row.frame_id, "differs", text))
            progress.advance(path, row.size)
    progress.finish()


def _place(opened: Opened, row: _Held, root: Path, second: bool) -> Path:
    if second:
        return Library(root).reached(opened.seam, row.path)
    return opened.layout.reached(opened.seam, row.path)


def _foreign(opened: Opened, rows: list[StoredRow], found: _Findings) -> None:
    known = {row.path for row in rows}
    for item in walk_own(opened.seam, opened.layout.frames):
        path = opened.layout.relative(item.path)
        if path in known:
            continue
        if isinstance(item, Found):
            found.unknown.append(item.path)
        elif item.code == "unfinished" or item.path.name.endswith(".part"):
            found.remarks.append(f"An unfinished copy of an interrupted run: {shown(str(item.path))}.")
        elif item.code in ("unreadable", "folder_unreadable"):
            text = f"{item.text} Check the disk, then verify again."
            found.differing.append(Finding(shown(str(item.path)), None, "unreadable", text))
        else:
            found.unknown.append(item.path)


def _renamed(opened: Opened, found: _Findings) -> None:
    """Frames that are not where they were recorded and whose content stands elsewhere in the library's folders."""
    missing = {one.id: one for one in found.missing if one.id is not None}
    for path in list(found.unknown) if missing else ():
        try:
            one = missing.pop(hash_file(opened.seam, path)[0][:16], None)
        except DarklibError:
            continue
        if one is not None:
            text = f"The file was renamed to {shown(str(path))}. Give it its name again."
            found.missing[found.missing.index(one)] = Finding(one.path, one.id, "renamed", text)
            found.unknown.remove(path)


def _journal(opened: Opened, rows: list[StoredRow], found: _Findings, progress: Progress, *, row_by_row: bool) -> None:
    """The catalogue holds what the journal holds, no more and no less; and so do the files that were set aside."""
    recorded: set[str] = set()
    kept: set[str] = set()
    for path, line in _lines(opened):
        if line.entry is None:
            if line.trouble == "torn":
                found.remarks.append(f"The last line of {path.name} is torn: a run was interrupted. Nothing is lost.")
            else:
                text = (
                    "A line of the journal is damaged. Restore the file from a second copy and run `darklib rebuild`; "
                    "without one, rebuild takes in anew the frames whose files are there."
                )
                found.differing.append(Finding(shown(str(path)), None, f"journal_{line.trouble}", text))
            continue
        entry = decode(line.entry)
        if isinstance(entry, Stored):
            recorded.add(entry.record.sha256)
        elif isinstance(entry, SetAside):
            kept.update((entry.kept_path, entry.kept_path + ".txt"))
    if row_by_row:
        _unrecorded_copies(opened, kept, found)
        try:
            found.catalogue += [f"{line} Run `darklib rebuild`." for line in differences(opened, progress)]
        except DarklibError as error:
            told = f"The catalogue could not be compared with the journal: {error.text} {error.remedy}"
            (found.catalogue if error.code == "catalogue_damaged" else found.remarks).append(told)
        except Exception:  # noqa: BLE001 - a damaged row breaks whatever reads it
            found.catalogue.append("A row of the catalogue cannot be read. Run `darklib rebuild`.")
        return
    catalogued = {row.sha256 for row in rows}
    if catalogued - recorded:
        found.catalogue.append(
            f"{len(catalogued - recorded)} frames of the catalogue are not in the journal. Run `darklib rebuild`."
        )
    if recorded - catalogued:
        found.catalogue.append(
            f"{len(recorded - catalogued)} frames of the journal are not in the catalogue. Run `darklib rebuild`."
        )


def _unrecorded_copies(opened: Opened, kept: set[str], found: _Findings) -> None:
    """Copies of an interrupted run, which was repeated since: they may stay, or be taken away by hand."""
    for item in walk_own(opened.seam, opened.layout.set_aside):
        if isinstance(item, Found) and opened.layout.relative(item.path) not in kept:
            found.remarks.append(f"Set aside and in no journal, left by an interrupted run: {shown(str(item.path))}.")


def _lines(opened: Opened) -> Iterator[tuple[Path, journal.Line]]:
    for path in journal.files(opened.seam, opened.layout.journal):
        for line in journal.read(opened.seam, path):
            yield path, line


def _copied(opened: Opened, root: Path, held: list[_Held], found: _Findings) -> None:
    for trouble in files_of_record(opened, root):
        found.checked += 1
        if trouble is None:
            found.intact += 1
        else:
            (found.missing if trouble.code == "missing" else found.differing).append(trouble)
    known = {path for row in held for path in (row.path, row.path + ".txt")}
    known.update(opened.layout.relative(path) for path in journal.files(opened.seam, opened.layout.journal))
    for stranger in strangers(opened, root, known):
        if isinstance(stranger, Finding):
            found.differing.append(stranger)
        else:
            found.unknown.append(stranger)
