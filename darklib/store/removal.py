"""The only removals: a source after its verified copy (`--move`), and temporary files of our own."""

import stat as stat_bits
from contextlib import suppress
from datetime import timedelta
from pathlib import Path

from darklib.facts.errors import DarklibError
from darklib.store.hashing import changed, hash_file
from darklib.store.mishap import told
from darklib.store.names import shown
from darklib.store.seam import Seam

PART = ".part"


def remove_source(seam: Seam, path: Path, sha256: str, stored: Path, *, verified: bool = True) -> None:
    """Take a source away after its copy was verified and journalled (`--move`).

    Looks again first: the source still has these bytes, the stored copy is there with the same size, and the two
    are not one file. verified: the copy was read back by this run; if not, it is now, since a copy made long ago may
    have rotted meanwhile. DarklibError 'source_changed', 'copy_missing', 'copy_differs', 'same_file' or 'is_a_link'
    where not; then nothing is done.
    """
    with told(path, "cannot read"):
        if stat_bits.S_ISLNK(seam.lstat(path).st_mode):
            raise _stays("is_a_link", f"{shown(str(path))} is a link, which --move leaves alone.", path)
    with told(stored, "cannot see the stored copy"):
        kept = seam.stat(stored) if seam.exists(stored) else None
    found, size = hash_file(seam, path)
    if found != sha256:
        raise changed(path, "its content is not what was stored; it is left where it is")
    if kept is None or kept.st_size != size:
        raise _stays(
            "copy_missing",
            f"The stored copy of {shown(str(path))} is not there: {shown(str(stored))}. The source stays.",
            path,
            "Run verify, then ingest again.",
        )
    if not verified and hash_file(seam, stored)[0] != sha256:
        raise _stays(
            "copy_differs",
            f"The stored copy of {shown(str(path))} was damaged: {shown(str(stored))}. The source stays.",
            path,
            "Run verify; keep this file, it is intact.",
        )
    with told(path, "cannot remove"):
        here = seam.stat(path)
        # Two names of one file: taking one away would leave the library with a file that others may still write to.
        if (here.st_dev, here.st_ino) == (kept.st_dev, kept.st_ino) and here.st_ino:
            raise _stays("same_file", f"{shown(str(path))} and the stored copy are one file. It stays.", path)
        remove(seam, path)
    with suppress(OSError):  # should a power cut bring the name back, the file is a duplicate and nothing is lost
        seam.fsync_folder(path.parent)


def _stays(code: str, text: str, path: Path, remedy: str = "Nothing needs to be done.") -> DarklibError:
    return DarklibError(code, text, path=shown(str(path)), remedy=remedy)


def sweep(seam: Seam, folder: Path, older_than_s: float = 3600.0) -> list[Path]:
    """Take away temporary files that a killed run left in this one folder; returns their paths.

    Only names that this module makes, and only old ones: another run may be writing a young one now.
    """
    gone: list[Path] = []
    limit = (seam.now() - timedelta(seconds=older_than_s)).timestamp()
    with told(folder, "cannot clear up"):
        for entry in seam.scandir(folder):
            if is_part(entry.name) and entry.is_file and seam.lstat(entry.path).st_mtime < limit:
                remove(seam, entry.path)
                gone.append(entry.path)
    return gone


def is_part(name: str) -> bool:
    """Whether a name is a temporary one of `publish`."""
    return name.startswith(".") and name.endswith(PART) and name.count(".") >= 3


def remove(seam: Seam, path: Path) -> None:
    """Take a name away, be it read-only."""
    try:
        seam.unlink(path)
    except PermissionError:
        if not seam.windows:
            raise
        seam.make_writable(path)
        seam.unlink(path)


def remove_quietly(seam: Seam, path: Path) -> None:
    """Twice, since a disk that failed once often obeys the second time; what stays is left to `sweep`."""
    for _ in range(2):
        try:
            remove(seam, path)
            return
        except FileNotFoundError:
            return
        except OSError:
            continue
