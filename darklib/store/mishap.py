"""What the operating system refused, in words: what happened, to which file, what to do about it."""

import errno
from collections.abc import Iterator
from contextlib import contextmanager

from darklib.facts.errors import DarklibError
from darklib.store.names import shown
from darklib.store.seam import StrPath

# errno -> (code, what happened, remedy). One row a cause; the sentence is "<doing> <path>: <what happened>."
_CAUSES: dict[int, tuple[str, str, str]] = {}


def _row(code: str, what: str, remedy: str, *names: str) -> None:
    for name in names:  # not every platform has every number
        if hasattr(errno, name):
            _CAUSES[getattr(errno, name)] = (code, what, remedy)


_row("disk_full", "the disk is full", "make room on that disk, then run the same command again", "ENOSPC", "EDQUOT")
_row("read_only", "the disk is read-only", "make it writable (a card's lock, a mount option), then try again", "EROFS")
_row(
    "no_permission",
    "permission denied",
    "check who owns it, its permissions, and that no other program holds it open",
    "EACCES",
    "EPERM",
)
_row(
    "vanished",
    "it is no longer there",
    "check that the card or disk is still connected, then run the same command again",
    "ENOENT",
    "ENOTDIR",
    "ENODEV",
    "ENXIO",
    "ESTALE",
    "ENOTCONN",
    "EHOSTDOWN",
    "ENOMEDIUM",
)
_row("disk_error", "the disk reports an error", "the card, cable or disk may be failing: copy what is readable", "EIO")
_row("disk_error", "the network share does not answer", "check the connection, then try again", "ETIMEDOUT")
_row("name_too_long", "the name or path is too long", "use a shorter path for the library", "ENAMETOOLONG")
_row("file_too_large", "the file is too large for that disk", "use a disk formatted for large files", "EFBIG")
_row("too_many_open", "too many files are open", "close other programs or raise the limit", "EMFILE", "ENFILE")
_row("link_loop", "its links lead in a circle", "remove the link", "ELOOP")
_row("is_a_folder", "there is a folder of that name", "rename the folder or choose another name", "EISDIR")
_row("in_use", "another program holds it", "close that program, then try again", "EBUSY", "ETXTBSY")


def in_words(error: OSError, path: StrPath, doing: str) -> DarklibError:
    """An error of the operating system as the one error a user can act on.

    doing: how the sentence begins, as 'cannot write'.
    """
    place = shown(str(path))
    code, what, remedy = _CAUSES.get(
        error.errno or 0, ("file_trouble", error.strerror or type(error).__name__, "look at that file, then try again")
    )
    return DarklibError(code, f"{doing} {place}: {what}", path=place, remedy=remedy)


@contextmanager
def told(path: StrPath, doing: str) -> Iterator[None]:
    """Whatever the operating system refuses inside is raised as a DarklibError about `path`."""
    try:
        yield
    except OSError as error:
        raise in_words(error, path, doing) from error
