"""Locks on a file, held by a process and let go when it ends, however it ends. Called by `seam` alone.

Shared: any number of holders; else one alone. They keep apart processes that ask for them, and nobody else.
"""

import errno
import os
import time
from contextlib import suppress
from io import FileIO

_AGAIN_S = 0.02
# How systems say that somebody else holds a lock; EACCES is Windows' word for it, and POSIX allows it too.
_HELD = frozenset({errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK})
# Windows has no shared locks on files: there a shared holder has one of these bytes, and one alone has all of them.
_SEATS = 64


class Lock:
    """A lock that is held. `release` lets it go; so does the end of the process."""

    def __init__(self, handle: FileIO) -> None:
        self._handle = handle

    def release(self) -> None:
        """Lets it go; twice does no harm."""
        self._handle.close()


def lock(path: str, *, shared: bool, wait_s: float) -> Lock | None:
    """The lock on `path`, a file made where it is missing; None where others still hold it after `wait_s` seconds."""
    handle = _opened(path)
    end = time.monotonic() + wait_s
    try:
        while not (_take_on_windows(handle, shared) if os.name == "nt" else _take(handle, shared)):
            if time.monotonic() >= end:
                handle.close()
                return None
            time.sleep(_AGAIN_S)
    except BaseException:
        handle.close()
        raise
    return Lock(handle)


def _opened(path: str) -> FileIO:
    try:
        return FileIO(path, "r+b")
    except FileNotFoundError:
        with suppress(FileExistsError), FileIO(path, "xb"):
            pass
        return FileIO(path, "r+b")
    except PermissionError:
        return FileIO(path, "rb")  # made by another user: enough for a lock, but on Windows


def _take(handle: FileIO, shared: bool) -> bool:
    import fcntl

    try:
        fcntl.flock(handle, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in _HELD:
            return False
        raise
    return True


def _take_on_windows(handle: FileIO, shared: bool) -> bool:
    import msvcrt

    seats = [(seat, 1) for seat in range(_SEATS)] if shared else [(0, _SEATS)]
    for first, count in seats:
        handle.seek(first)
        try:
            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, count)  # type: ignore[attr-defined, unused-ignore]
        except OSError as error:
            if error.errno not in _HELD:
                raise
        else:
            return True
    return False
