"""A seam that counts its calls and breaks one of them, for tests of every room that writes."""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Callable
from io import FileIO
from pathlib import Path
from typing import TypeVar

from darklib.store.seam import Buffer, Seam, StrPath

T = TypeVar("T")

ERRNOS = {name: getattr(errno, name) for name in ("EIO", "ENOSPC", "EACCES", "EROFS", "ENOENT")}
# kill: nothing runs any more. short: a read gives a third of what was asked. end: a read says the file ends here.
# shrink, grow, touch: the file that is read is changed behind the reader's back.
FAULTS = (*ERRNOS, "kill", "short", "end", "shrink", "grow", "touch")
_READS = ("read", "readinto")
# The clock and chance do not fail, and are not counted.
_UNCOUNTED = frozenset(["now", "monotonic", "sleep", "token", "environment", "cwd", "user_data_folder", "absolute"])


class Killed(BaseException):
    """The process is gone: every later call raises this again, so no clean-up reaches the disk."""


class BreakingSeam(Seam):
    """Breaks its call number n (from 1; 0 breaks none) with a fault of FAULTS.

    A fault that makes no sense for that call (a short `link`) lets it pass. `calls` holds (name, path) of each.
    """

    def __init__(self, n: int = 0, fault: str = "EIO") -> None:
        assert fault in FAULTS
        self.n = n
        self.fault = fault
        self.calls: list[tuple[str, str]] = []
        self.broke: tuple[str, str] | None = None
        self.killed = False
        self._lock = threading.Lock()

    @property
    def count(self) -> int:
        return len(self.calls)

    def _call(self, name: str, path: str, func: Callable[[], T]) -> T:
        if name in _UNCOUNTED:
            return func()
        with self._lock:
            if self.killed:
                raise Killed
            self.calls.append((name, path))
            hit = len(self.calls) == self.n
        if hit:
            if self.fault == "kill":
                self.broke, self.killed = (name, path), True
                raise Killed
            if self.fault in ERRNOS:
                self.broke = (name, path)
                raise OSError(ERRNOS[self.fault], os.strerror(ERRNOS[self.fault]), path)
        return func()

    def _hits_next(self, fault: str, handle: FileIO) -> bool:
        # Where several threads read, another one may have made call n meanwhile: then the next read is broken.
        if self.fault != fault or self.killed or self.broke or not 0 < self.n <= len(self.calls) + 1:
            return False
        self.broke = (fault, str(handle.name))
        return True

    def _meddle(self, handle: FileIO) -> None:
        path = Path(str(handle.name))
        if self._hits_next("shrink", handle):
            _writable(path)
            os.truncate(path, path.stat().st_size // 2)
        if self._hits_next("grow", handle):
            _writable(path)
            with path.open("ab") as more:
                more.write(b"!")
        if self._hits_next("touch", handle):
            facts = path.stat()
            os.utime(path, ns=(facts.st_atime_ns, facts.st_mtime_ns + 2_000_000_000))

    def read(self, handle: FileIO, count: int) -> bytes:
        self._meddle(handle)
        if self._hits_next("end", handle):
            count = 0
        elif self._hits_next("short", handle):
            count = max(1, count // 3)
        return super().read(handle, count)

    def readinto(self, handle: FileIO, buffer: bytearray | memoryview) -> int:
        self._meddle(handle)
        if self._hits_next("end", handle):
            buffer = memoryview(buffer)[:0]
        elif self._hits_next("short", handle):
            buffer = memoryview(buffer)[: max(1, len(buffer) // 3)]
        return super().readinto(handle, buffer)

    def transfer(self, source: FileIO, target: FileIO, count: int) -> int:
        self._meddle(source)
        if self._hits_next("end", source):
            count = 0
        elif self._hits_next("short", source):
            count = max(1, min(count, Path(str(source.name)).stat().st_size) // 3)
        return super().transfer(source, target, count)


class BitFlippingSeam(Seam):
    """A disk that turns one bit of what is written to paths that hold `marked`, and reports success."""

    def __init__(self, marked: str = ".part", offset: int = 0) -> None:
        self.marked = marked
        self.offset = offset
        self.flipped = 0

    def write(self, handle: FileIO, data: Buffer) -> int:
        if self.marked in str(handle.name) and not self.flipped and len(data) > self.offset:
            spoiled = bytearray(data)
            spoiled[self.offset] ^= 0x10
            data = bytes(spoiled)
            self.flipped += 1
        return super().write(handle, data)

    def transfer(self, source: FileIO, target: FileIO, count: int) -> int:
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))


class LinklessSeam(Seam):
    """A FAT or exFAT card: no hard links, no symbolic links; Linux and macOS still rename without overwriting."""

    def __init__(self, number: int = errno.EPERM) -> None:
        self.number = number

    def link(self, old: StrPath, new: StrPath) -> None:
        if os.path.lexists(new):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), os.fspath(new))
        raise OSError(self.number, os.strerror(self.number), os.fspath(new))

    def symlink(self, target: StrPath, new: StrPath) -> None:
        raise OSError(self.number, os.strerror(self.number), os.fspath(new))


class PoorestSeam(LinklessSeam):
    """A disk or system with neither links nor a rename that refuses, nor a copy inside the system."""

    def transfer(self, source: FileIO, target: FileIO, count: int) -> int:
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))

    def rename_new(self, old: StrPath, new: StrPath) -> None:
        raise OSError(errno.EINVAL, os.strerror(errno.EINVAL), os.fspath(new))


class WindowsSeam(Seam):
    """As Windows does: rename refuses a taken name, links are not used, a read-only file is not deleted."""

    windows = True

    def transfer(self, source: FileIO, target: FileIO, count: int) -> int:
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))

    def link(self, old: StrPath, new: StrPath) -> None:
        raise AssertionError("on Windows a rename refuses a taken name; no link is needed")

    def unlink(self, path: StrPath) -> None:
        if not Path(path).stat().st_mode & 0o200:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), os.fspath(path))
        super().unlink(path)


def _writable(path: Path) -> None:
    path.chmod(0o644)
