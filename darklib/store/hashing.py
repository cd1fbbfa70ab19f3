"""The SHA-256 of a file, read as it stands now, and whether it kept still meanwhile."""

import hashlib
import os
from collections.abc import Callable
from io import FileIO

from darklib.facts.errors import DarklibError
from darklib.store.mishap import told
from darklib.store.names import shown
from darklib.store.seam import Seam, StrPath

PIECE = 1 << 20  # 1 MB: smaller pieces were slower, larger ones no faster


def hash_file(seam: Seam, path: StrPath) -> tuple[str, int]:
    """SHA-256 in hexadecimal and size in bytes, read through a fresh handle.

    DarklibError 'source_changed' where the file grew, shrank or was written to while it was read.
    """
    with told(path, "cannot read"), seam.open_read(path) as handle:
        return hash_handle(seam, handle, path, lambda piece: None)


def hash_handle(seam: Seam, handle: FileIO, path: StrPath, use: Callable[[memoryview], None]) -> tuple[str, int]:
    """As `hash_file`, of an open handle at its beginning; `use` is given each piece as well."""
    before = seam.fstat(handle)
    digest = hashlib.sha256()
    buffer = bytearray(PIECE)
    view = memoryview(buffer)
    size = 0
    while count := seam.readinto(handle, buffer):
        piece = view[:count]
        digest.update(piece)
        use(piece)
        size += count
    kept_still(seam, handle, path, before, size)
    return digest.hexdigest(), size


def kept_still(seam: Seam, handle: FileIO, path: StrPath, before: os.stat_result, size: int) -> None:
    """DarklibError 'source_changed' unless exactly the size before was read and nothing was written since."""
    after = seam.fstat(handle)
    if size == before.st_size == after.st_size and before.st_mtime_ns == after.st_mtime_ns:
        return
    raise changed(path, f"{before.st_size} bytes before, {size} read, {after.st_size} after")


def changed(path: StrPath, how: str) -> DarklibError:
    """The error for a file that did not keep still."""
    place = shown(str(path))
    return DarklibError(
        "source_changed",
        f"The file changed while it was read: {place} ({how}).",
        path=place,
        remedy="Wait until whatever writes it has finished, then run the same command again.",
    )
