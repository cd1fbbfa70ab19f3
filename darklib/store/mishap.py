"""What the operating system refused, in words: what happened, to which file, what to do about it."""

import errno
from collections.abc import Iterator
from contextlib import contextmanager

from darklib.facts.errors import DarklibError
from darklib.store.names import shown
from darklib.store.seam import StrPath

# Code, what happened, remedy, the system's numbers for it.
_ROWS = (
    ("disk_full", "the disk is full", "Make room on that disk, then run the same command again.", "ENOSPC EDQUOT"),
    (
        "read_only",
        "the disk is read-only",
        "Make it writable (a card's lock, a mount option), then try again.",
        "EROFS",
    ),
    (
        "no_permission",
        "permission denied",
        "Check who owns it, its permissions, and that no other program holds it open.",
        "EACCES EPERM",
    ),
    (
        "vanished",
        "it is not there",
        "Check that the card or disk is connected, then run the same command again.",
        "ENOENT ENOTDIR ENODEV ENXIO ESTALE ENOTCONN EHOSTDOWN ENOMEDIUM",
    ),
    (
        "disk_error",
        "the disk reports an error",
        "The card, cable or disk may be failing: copy what is readable first.",
        "EIO",
    ),
    ("disk_error", "the network share does not answer", "Check the connection, then try again.", "ETIMEDOUT"),
    ("name_too_long", "the name or path is too long", "Use a shorter path.", "ENAMETOOLONG"),
    ("file_too_large", "the file is too large for that disk", "Use a disk formatted for large files.", "EFBIG"),
    ("too_many_open", "too many files are open", "Close other programs or raise the limit.", "EMFILE ENFILE"),
    ("link_loop", "its links lead in a circle", "Remove the link.", "ELOOP"),
    ("is_a_folder", "there is a folder of that name", "Rename the folder or choose another name.", "EISDIR"),
    ("in_use", "another program holds it", "Close that program, then try again.", "EBUSY ETXTBSY"),
)
_CAUSES: dict[int, tuple[str, str, str]] = {
    getattr(errno, name): (code, what, remedy)
    for code, what, remedy, names in _ROWS
    for name in names.split()
    if hasattr(errno, name)  # not every platform has every number
}


def in_words(error: OSError, path: StrPath, doing: str) -> DarklibError:
    """An error of the operating system as the one error a user can act on.

    doing: how the sentence begins, as 'cannot write'.
    """
    place = shown(str(path))
    code, what, remedy = _CAUSES.get(
        error.errno or 0, ("file_trouble", error.strerror or type(error).__name__, "Look at that file, then try again.")
    )
    return DarklibError(code, f"{doing[:1].upper()}{doing[1:]} {place}: {what}.", path=place, remedy=remedy)


@contextmanager
def told(path: StrPath, doing: str) -> Iterator[None]:
    """Whatever the operating system refuses inside is raised as a DarklibError about `path`."""
    try:
        yield
    except OSError as error:
        raise in_words(error, path, doing) from error
