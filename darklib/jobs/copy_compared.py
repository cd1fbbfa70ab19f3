"""A second copy of the library held against it, apart from the frames themselves: what is strange in it, its journal,
and the line in the library's own journal that it was found whole.
"""

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from unicodedata import normalize

from darklib.facts.entries import CopyChecked, RunEnded, RunStarted, decode
from darklib.facts.errors import DarklibError
from darklib.jobs.library import Opened
from darklib.jobs.record import Recorder
from darklib.jobs.results import Finding
from darklib.store import journal
from darklib.store.hashing import hash_file
from darklib.store.layout import Library
from darklib.store.mishap import told
from darklib.store.names import shown
from darklib.store.walk import Found, walk_own

FOLDERS_NAMED = 5


def strangers(opened: Opened, root: Path, known: set[str]) -> Iterator[Path | Finding]:
    """Files in the copy's folders of frames, files set aside and journal that the library does not have; and folders
    that cannot be looked into. known: what it has, by relative path. System files of whoever copied do not count.
    """
    copy = Library(root)
    # Some disks change the form of letters with marks.
    theirs = {normalize("NFC", path) for path in known}
    for folder in (copy.frames, copy.set_aside, copy.journal):
        for item in walk_own(opened.seam, folder):
            if isinstance(item, Found):
                if normalize("NFC", copy.relative(item.path)) not in theirs:
                    yield item.path
            elif item.code in ("unreadable", "folder_unreadable"):
                yield Finding(shown(str(item.path)), None, "unreadable", f"{item.text} Check that disk.")


def files_of_record(opened: Opened, root: Path) -> Iterator[Finding | None]:
    """The journal and the configuration: None for each file that is the same there, else what is the matter."""
    for path in [*journal.files(opened.seam, opened.layout.journal), opened.layout.config]:
        other = root / opened.layout.relative(path)
        with told(other, "cannot read"):
            there = opened.seam.exists(other)
        if there:
            same = hash_file(opened.seam, other) == hash_file(opened.seam, path)
            text = "An older state. Copy it anew."
            yield None if same else Finding(shown(str(other)), None, "differs", text)
        elif path == opened.layout.config or not _tells_of_copies_only(opened, path):
            yield Finding(shown(str(other)), None, "missing", "Not in the second copy. Copy it anew.")


def _tells_of_copies_only(opened: Opened, path: Path) -> bool:
    """Whether a journal file was written by such a comparison, after the copy, so that no copy can have it yet; or
    holds nothing at all, since it was interrupted.
    """
    for line in journal.read(opened.seam, path):
        if line.trouble == "torn":
            continue
        if line.entry is None or not isinstance(decode(line.entry), RunStarted | CopyChecked | RunEnded):
            return False
    return True


def in_place_remark(paths: list[str]) -> str:
    """What is to be said of frames that are in no copy of the library, where there are any; else empty."""
    if not paths:
        return ""
    folders = sorted({str(Path(path).parent) for path in paths})
    named = ", ".join(folders[:FOLDERS_NAMED])
    more = f" and {len(folders) - FOLDERS_NAMED:,} more folders" if len(folders) > FOLDERS_NAMED else ""
    frames = "1 frame is" if len(paths) == 1 else f"{len(paths):,} frames are"
    return f"{frames} catalogued in place, and so in no copy of the library: back up {named}{more} as well"


def noted(opened: Opened, root: Path, frames: int, at: datetime) -> str | None:
    """Notes in the journal that this copy was found whole; None, or in words why that could not be done."""
    try:
        with Recorder(opened, "verify", ("--against", shown(str(root)))) as recorder:
            recorder.add(CopyChecked(shown(str(root)), frames, at))
    except DarklibError as error:
        return f"That this copy is whole could not be noted in the journal: {error.text} {error.remedy}".strip()
    return None
