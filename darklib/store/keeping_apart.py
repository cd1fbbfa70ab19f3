"""What commands that run at once ask of each other: who uses a library, who changes it as a whole, who records.

Every command holds `using` while it has the catalogue open, in common with all others. Whatever puts another catalogue
in its place or changes its tables holds `alone`. Adding to the journal and the catalogue is done under `recording`, by
one process at a time and for a moment only, so that the journal's files, one after the other, tell things in the order
in which they happened.

Locks go with the process that holds them, also when it is killed. Where the disk knows none (some network shares), or
may not be written to, commands go on without: then one machine at a time must use the library.
"""

import errno
from pathlib import Path

from darklib.facts.errors import DarklibError
from darklib.store.layout import Library
from darklib.store.locking import Lock
from darklib.store.mishap import in_words
from darklib.store.names import shown
from darklib.store.seam import Seam

WAIT_S = 30.0
"""How long a command waits for another one that makes the catalogue anew."""

WAIT_ALONE_S = 10.0
"""How long a command that needs the library for itself waits for the others, which may well run for hours."""

WAIT_TO_RECORD_S = 120.0
"""Recording takes a moment; only replaying a long journal takes longer."""

_NO_LOCKS = frozenset(
    getattr(errno, name)
    for name in ("ENOLCK", "ENOTSUP", "EOPNOTSUPP", "ENOSYS", "EINVAL", "EROFS", "EACCES", "EPERM", "ENOSPC", "EDQUOT")
    if hasattr(errno, name)
)


class Hold:
    """Something held until `release`, or until the end of a `with` block."""

    def __init__(self, lock: Lock | None) -> None:
        self._lock = lock

    def release(self) -> None:
        """Lets others have it."""
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def __enter__(self) -> "Hold":
        return self

    def __exit__(self, *_: object) -> None:
        self.release()


def using(seam: Seam, library: Library) -> Hold:
    """The library is in use. DarklibError 'library_busy' where another command has it for itself and keeps it."""
    return _held(
        seam,
        library.in_use,
        shared=True,
        wait_s=WAIT_S,
        text=f"The catalogue of {shown(str(library.root))} is being made anew or upgraded by another darklib.",
        remedy="Wait until that has finished, then run the same command again.",
    )


def alone(seam: Seam, library: Library, wait_s: float | None = None) -> Hold:
    """Nobody else uses the library. DarklibError 'library_busy' where somebody still does after WAIT_ALONE_S."""
    return _held(
        seam,
        library.in_use,
        shared=False,
        wait_s=WAIT_ALONE_S if wait_s is None else wait_s,
        text=f"Another darklib is using {shown(str(library.root))}, and this needs the library for itself.",
        remedy="Wait until the other command has finished, or stop it, then run the same command again.",
    )


def recording(seam: Seam, library: Library) -> Hold:
    """Nobody else adds to the journal or the catalogue. DarklibError 'library_busy' where somebody does too long."""
    return _held(
        seam,
        library.recording,
        shared=False,
        wait_s=WAIT_TO_RECORD_S,
        text=f"Another darklib is writing to the journal of {shown(str(library.root))} and did not finish in time.",
        remedy="Wait until it has finished, then run the same command again.",
    )


def _held(seam: Seam, path: Path, *, shared: bool, wait_s: float, text: str, remedy: str) -> Hold:
    try:
        lock = seam.lock(path, shared=shared, wait_s=wait_s)
    except OSError as error:
        if error.errno in _NO_LOCKS:
            return Hold(None)
        raise in_words(error, path, "cannot lock") from error
    if lock is None:
        raise DarklibError("library_busy", text, path=shown(str(path.parent)), remedy=remedy)
    return Hold(lock)
