"""The only place that calls the file system, the clock and chance, so that tests can count, break or fake each call.

Errors of the operating system pass through unchanged; `durable` and its neighbours put them into words.
"""

import errno
import os
import secrets
import shutil
import stat as stat_bits
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from io import FileIO
from pathlib import Path
from typing import TypeVar

from darklib.store.locking import Lock
from darklib.store.locking import lock as lock_file
from darklib.store.noreplace import rename_new

T = TypeVar("T")
StrPath = str | os.PathLike[str]
Buffer = bytes | bytearray | memoryview

# Crockford's base 32 in lower case: no i, l, o, u, so that an id can be read aloud.
LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"


@dataclass(frozen=True, slots=True)
class Entry:
    """One name in a folder. A symbolic link is neither file nor folder here."""

    name: str
    path: Path
    is_file: bool
    is_folder: bool
    is_link: bool


class Seam:
    """Real files, real time, real chance. Every method makes its call through `_call`, which a test overrides."""

    # Windows cannot delete a read-only file, and its rename refuses a taken name.
    windows: bool = os.name == "nt"

    def _call(self, name: str, path: str, func: Callable[[], T]) -> T:
        """The one gate. name: of the method; path: what it touches ('' for none); func: does it."""
        return func()

    # Clock, chance and surroundings

    def now(self) -> datetime:
        """This moment, in UTC, with its time zone."""
        return self._call("now", "", lambda: datetime.now(UTC))

    def monotonic(self) -> float:
        """Seconds on a clock that never goes back; only differences mean anything."""
        return self._call("monotonic", "", time.monotonic)

    def sleep(self, seconds: float, unless: Callable[[], bool] = lambda: False) -> None:
        """Waits, or until `unless` says so, which is asked twice a second."""

        def wait() -> None:
            end = time.monotonic() + seconds
            while not unless() and (rest := end - time.monotonic()) > 0:
                time.sleep(min(rest, 0.5))

        self._call("sleep", "", wait)

    def token(self, length: int = 8) -> str:
        """Random letters and digits, safe in any file name."""
        return self._call("token", "", lambda: "".join(secrets.choice(LETTERS) for _ in range(length)))

    def environment(self, name: str) -> str | None:
        """An environment variable, or None where it is unset or empty."""
        return self._call("environment", "", lambda: os.environ.get(name) or None)

    def cwd(self) -> Path:
        """The current folder."""
        return self._call("cwd", "", lambda: Path(os.getcwd()))

    def user_data_folder(self) -> Path:
        """Where this platform keeps a user's data of this program. Nothing is made."""

        def where() -> Path:
            from platformdirs import user_data_path

            return user_data_path("darklib", appauthor=False)

        return self._call("user_data_folder", "", where)

    def absolute(self, path: StrPath) -> Path:
        """An absolute path without `.` and `..` and `~`; links stay as they are."""

        def where() -> Path:
            return Path(os.path.abspath(os.path.expanduser(path)))

        return self._call("absolute", os.fspath(path), where)

    def real(self, path: StrPath) -> Path:
        """An absolute path with every link followed."""
        return self._call("real", os.fspath(path), lambda: Path(os.path.realpath(path)))

    # Reading

    def open_read(self, path: StrPath) -> FileIO:
        """An unbuffered handle for reading."""
        return self._call("open_read", os.fspath(path), lambda: FileIO(for_system(path), "rb"))

    def read(self, handle: FileIO, count: int) -> bytes:
        """At most `count` bytes; empty at the end."""

        def some() -> bytes:
            return handle.read(count) or b""

        return self._call("read", _named(handle), some)

    def readinto(self, handle: FileIO, buffer: bytearray | memoryview) -> int:
        """Fill the buffer as far as the system gives bytes; 0 at the end."""

        def some() -> int:
            return handle.readinto(buffer) or 0

        return self._call("readinto", _named(handle), some)

    def seek(self, handle: FileIO, offset: int) -> None:
        """Put the handle at this byte."""
        self._call("seek", _named(handle), lambda: handle.seek(offset))

    def read_bytes(self, path: StrPath) -> bytes:
        """A whole (small) file; OSError (EIO) where fewer bytes come than it has."""
        pieces: list[bytes] = []
        with self.open_read(path) as handle:
            size = self.fstat(handle).st_size
            while piece := self.read(handle, 1 << 20):
                pieces.append(piece)
        whole = b"".join(pieces)
        if len(whole) < size:
            raise OSError(errno.EIO, os.strerror(errno.EIO), os.fspath(path))
        return whole

    # Writing

    def create_exclusive(self, path: StrPath) -> FileIO:
        """A handle for writing a file that was not there; FileExistsError where it was."""
        return self._call("create_exclusive", os.fspath(path), lambda: FileIO(for_system(path), "xb"))

    def write(self, handle: FileIO, data: Buffer) -> int:
        """Write as much as the system takes now; returns how many bytes that was."""

        def some() -> int:
            return handle.write(data) or 0

        return self._call("write", _named(handle), some)

    def transfer(self, source: FileIO, target: FileIO, count: int) -> int:
        """Move at most `count` bytes from handle to handle inside the system, which spares a copy through this process;
        returns how many, 0 at the end. OSError (ENOSYS) where the system has no such call.
        """

        def some() -> int:
            # Not copy_file_range: on some disks that shares the blocks of the source, and a copy shall be one.
            if sys.platform != "linux":
                raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))
            return os.sendfile(target.fileno(), source.fileno(), None, count)

        return self._call("transfer", _named(source), some)

    def flush(self, handle: FileIO) -> None:
        """Hand over what Python still holds (nothing for these handles, kept for handles of others)."""
        self._call("flush", _named(handle), handle.flush)

    def truncate(self, handle: FileIO, size: int) -> None:
        """Cut the file to this size."""
        self._call("truncate", _named(handle), lambda: handle.truncate(size))

    def fsync(self, handle: FileIO) -> None:
        """Ask the disk to keep what was written."""
        self._call("fsync", _named(handle), lambda: _to_the_disk(handle.fileno()))

    def fsync_folder(self, path: StrPath) -> None:
        """Ask the disk to keep the names in a folder; nothing where folders cannot be opened (Windows)."""

        def sync() -> None:
            if os.name == "nt":
                return
            descriptor = os.open(path, os.O_RDONLY)
            try:
                os.fsync(descriptor)
            except OSError as error:
                # Some network and FUSE file systems know no fsync of a folder; that is their promise, not a failure.
                if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.ENOSYS, errno.EBADF):
                    raise
            finally:
                os.close(descriptor)

        self._call("fsync_folder", os.fspath(path), sync)

    # Names

    def link(self, old: StrPath, new: StrPath) -> None:
        """A second name for a file; FileExistsError where the name is taken."""
        self._call("link", os.fspath(new), lambda: os.link(for_system(old), for_system(new)))

    def symlink(self, target: StrPath, new: StrPath) -> None:
        """A symbolic link at `new` that points to `target`."""
        self._call("symlink", os.fspath(new), lambda: os.symlink(target, for_system(new)))

    def readlink(self, path: StrPath) -> str:
        """Where a symbolic link points, as written."""
        return self._call("readlink", os.fspath(path), lambda: os.readlink(for_system(path)))

    def unlink(self, path: StrPath) -> None:
        """Take a name away."""
        self._call("unlink", os.fspath(path), lambda: os.unlink(for_system(path)))

    def rename_new(self, old: StrPath, new: StrPath) -> None:
        """Rename; FileExistsError where `new` is taken, OSError (ENOSYS, EINVAL) where disk or system cannot say so."""
        self._call("rename_new", os.fspath(new), lambda: rename_new(for_system(old), for_system(new)))

    def replace(self, old: StrPath, new: StrPath) -> None:
        """Rename over whatever is there."""
        self._call("replace", os.fspath(new), lambda: os.replace(for_system(old), for_system(new)))

    def mkdir(self, path: StrPath) -> None:
        """Make one folder; FileExistsError where it is."""
        self._call("mkdir", os.fspath(path), lambda: os.mkdir(for_system(path)))

    def rmdir(self, path: StrPath) -> None:
        """Take an empty folder away."""
        self._call("rmdir", os.fspath(path), lambda: os.rmdir(for_system(path)))

    # Keeping apart

    def lock(self, path: StrPath, *, shared: bool, wait_s: float) -> Lock | None:
        """A lock on a file, which is made where it is missing; None where others still hold it after that time."""
        return self._call("lock", os.fspath(path), lambda: lock_file(for_system(path), shared=shared, wait_s=wait_s))

    # Looking

    def stat(self, path: StrPath) -> os.stat_result:
        """Facts of a file, links followed."""
        return self._call("stat", os.fspath(path), lambda: os.stat(for_system(path)))

    def lstat(self, path: StrPath) -> os.stat_result:
        """Facts of a file or of the link itself."""
        return self._call("lstat", os.fspath(path), lambda: os.lstat(for_system(path)))

    def fstat(self, handle: FileIO) -> os.stat_result:
        """Facts of an open file."""
        return self._call("fstat", _named(handle), lambda: os.fstat(handle.fileno()))

    def exists(self, path: StrPath) -> bool:
        """Whether something is there, links followed. Errors other than 'not there' are raised."""

        def there() -> bool:
            try:
                os.stat(for_system(path))
            except (FileNotFoundError, NotADirectoryError):
                return False
            return True

        return self._call("exists", os.fspath(path), there)

    def is_folder(self, path: StrPath) -> bool:
        """Whether a folder is there, links followed."""

        def folder() -> bool:
            try:
                return stat_bits.S_ISDIR(os.stat(for_system(path)).st_mode)
            except (FileNotFoundError, NotADirectoryError):
                return False

        return self._call("is_folder", os.fspath(path), folder)

    def scandir(self, path: StrPath) -> list[Entry]:
        """The names in a folder, sorted."""

        def names() -> list[Entry]:
            base = Path(path)
            with os.scandir(for_system(path)) as found:
                return sorted((_entry(base, item) for item in found), key=lambda entry: entry.name)

        return self._call("scandir", os.fspath(path), names)

    def disk_free(self, path: StrPath) -> int:
        """Free bytes for this user on the disk that holds a path."""
        return self._call("disk_free", os.fspath(path), lambda: shutil.disk_usage(path).free)

    def make_read_only(self, path: StrPath) -> None:
        """Take the permission to write away from everybody."""

        def protect() -> None:
            mode = stat_bits.S_IMODE(os.stat(for_system(path)).st_mode)
            os.chmod(for_system(path), mode & ~(stat_bits.S_IWUSR | stat_bits.S_IWGRP | stat_bits.S_IWOTH))

        self._call("make_read_only", os.fspath(path), protect)

    def make_writable(self, path: StrPath) -> None:
        """Give the owner the permission to write (Windows deletes no read-only file)."""

        def open_up() -> None:
            mode = stat_bits.S_IMODE(os.stat(for_system(path)).st_mode)
            os.chmod(for_system(path), mode | stat_bits.S_IWUSR)

        self._call("make_writable", os.fspath(path), open_up)


def for_system(path: StrPath, *, windows: bool = os.name == "nt") -> str:
    r"""The path as the system takes it: on Windows long absolute ones need the prefix `\\?\`."""
    text = os.fspath(path)
    if not windows or len(text) < 240 or text.startswith("\\\\?\\"):
        return text
    plain = text.replace("/", "\\")
    if plain.startswith("\\\\"):
        return "\\\\?\\UNC\\" + plain[2:]
    if len(plain) > 2 and plain[1:3] == ":\\":
        return "\\\\?\\" + plain
    return text


def _named(handle: FileIO) -> str:
    return str(handle.name)


def _entry(base: Path, item: "os.DirEntry[str]") -> Entry:
    # A junction is Windows' older link to a folder; Python tells of it from 3.12 on.
    link = item.is_symlink() or bool(getattr(item, "is_junction", bool)())
    try:
        is_file = not link and item.is_file(follow_symlinks=False)
        is_folder = not link and item.is_dir(follow_symlinks=False)
    except OSError:  # a file system that hides even the sort of a name: neither, and so passed over by the walk
        is_file = is_folder = False
    return Entry(item.name, base / item.name, is_file, is_folder, link)


def _to_the_disk(descriptor: int) -> None:
    if sys.platform == "darwin":
        # On macOS fsync leaves the bytes in the drive's own cache; F_FULLFSYNC does not, but not every volume knows it.
        import fcntl

        try:
            fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
            return
        except OSError:
            pass
    os.fsync(descriptor)
