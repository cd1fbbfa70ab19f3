"""Publishing a file so that it is whole or not there: temporary name, fsync, re-read and compare, name, fsync.

What stands after each step if everything stops there:
1. `.<name>.<random>.part` half or whole in the target folder: nobody takes it for a frame; `sweep` removes it later.
2. The name is given by a hard link: name and temporary name are the same file, whole, read again, on the disk.
   Where there are no links, a rename that refuses a taken name does 2 and 3 in one.
3. The temporary name is taken away. 4. The folder is fsynced: the name outlives a power cut.
Only then may a journal line say that the file is stored. Nothing here ever writes over an existing name.
"""

import errno
import stat as stat_bits
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from io import FileIO
from pathlib import Path
from typing import TypeVar

from darklib.facts.errors import DarklibError
from darklib.store.batch import Batch, make_folders, secure
from darklib.store.hashing import PIECE, changed, hash_file, hash_handle
from darklib.store.mishap import in_words, told
from darklib.store.names import numbered, shown
from darklib.store.removal import PART, is_part, remove_quietly, remove_source, sweep
from darklib.store.seam import Buffer, Seam

__all__ = [
    "Batch",
    "Published",
    "copy_in",
    "copy_new",
    "hash_file",
    "is_part",
    "link_new",
    "make_folders",
    "other_file",
    "publish",
    "publish_text",
    "remove_source",
    "sweep",
    "write_new",
]

T = TypeVar("T")
# How systems say that a file system has no hard links; EPERM is Linux for FAT and exFAT.
_NO_LINKS = frozenset({errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK, errno.EINVAL})
TRANSFERRED = 1 << 24
_NO_TRANSFER = frozenset({errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOTSOCK, errno.EXDEV})
_NO_SUCH_CALL = frozenset({errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EINVAL})


@dataclass(frozen=True, slots=True)
class Published:
    """A file that is stored. already_there: the very same content stood under that name before."""

    path: Path
    sha256: str
    size: int
    already_there: bool = False


def publish(
    seam: Seam,
    source: FileIO | Buffer,
    folder: Path,
    name: str,
    expected_sha256: str | None = None,
    *,
    batch: Batch | None = None,
    read_only: bool = True,
    exact: bool = False,
) -> Published:
    """Store the bytes of a handle (from its beginning) or of a buffer as `folder/name`, never overwriting.

    A taken name becomes `-2`, `-3` before the suffix, unless that file has the very same content: then it is
    returned as already there. With `exact` it is this name or DarklibError 'exists_and_differs'. The folder is made
    where it is missing. With a batch the folder is fsynced later.

    DarklibError: 'source_changed' (the source did not keep still, or is not what `expected_sha256` says),
    'copy_differs' (the bytes read back are not those written), or what the disk refused. Then nothing is left
    behind and the source is as it was.
    """
    make_folders(seam, folder, batch)
    origin = source.name if isinstance(source, FileIO) else folder / name

    def write(part: FileIO, path: Path) -> tuple[str, int]:
        def put(piece: Buffer) -> None:
            with told(path, "cannot write"):
                _write_all(seam, part, piece)

        if isinstance(source, FileIO):
            with told(str(origin), "cannot read"):
                seam.seek(source, 0)
                return hash_handle(seam, source, str(origin), put)
        import hashlib

        view = memoryview(source).cast("B")
        for start in range(0, len(view), PIECE):
            put(view[start : start + PIECE])
        return hashlib.sha256(view).hexdigest(), len(view)

    def check(path: Path, wrote: tuple[str, int]) -> tuple[str, int]:
        if expected_sha256 is not None and wrote[0] != expected_sha256:
            raise changed(str(origin), "its content is not what was read before")
        if hash_file(seam, path) != wrote:
            raise _differs(folder / name)
        return wrote

    return _publish(seam, folder, name, write, check, batch, read_only, exact)


def publish_text(
    seam: Seam,
    text: str,
    folder: Path,
    name: str,
    *,
    batch: Batch | None = None,
    read_only: bool = False,
    exact: bool = False,
) -> Published:
    r"""Store a text as UTF-8 with line feeds; undecodable characters as `\xNN`."""
    return publish(seam, shown(text).encode("utf-8"), folder, name, batch=batch, read_only=read_only, exact=exact)


def copy_in(
    seam: Seam,
    source: Path,
    folder: Path,
    name: str,
    known_sha256: str,
    *,
    batch: Batch | None = None,
    read_only: bool = True,
    exact: bool = False,
) -> Published:
    """As `publish`, of a file whose hash somebody has taken already: it is copied without hashing, and the copy,
    read again through a fresh handle, must have that hash.

    DarklibError: 'source_changed' where the source is no longer what was hashed, 'copy_differs' where it is and
    the copy is not; both leave nothing behind.
    """
    make_folders(seam, folder, batch)
    # A second run over the same card finds its own file: no need to write it again to see that.
    standing = _same_there(seam, folder / name, known_sha256, None)
    if standing is not None:
        return _finished(seam, standing, batch, read_only)

    def write(part: FileIO, path: Path) -> int:
        with told(source, "cannot read"), seam.open_read(source) as handle:
            return _copy_all(seam, handle, part, path)

    def check(path: Path, size: int) -> tuple[str, int]:
        found = hash_file(seam, path)
        if found != (known_sha256, size):
            if hash_file(seam, source)[0] != known_sha256:
                raise changed(source, "its content is not what was read before")
            raise _differs(folder / name)
        return found

    return _publish(seam, folder, name, write, check, batch, read_only, exact)


def write_new(
    seam: Seam, path: Path, data: Buffer, *, batch: Batch | None = None, read_only: bool = False
) -> Published:
    """Write exactly this file, for exports. An equal file that stands there is fine and stays.

    DarklibError 'exists_and_differs' where another file has the name; it is not touched.
    """
    return publish(seam, data, path.parent, path.name, batch=batch, read_only=read_only, exact=True)


def copy_new(
    seam: Seam, source: Path, path: Path, known_sha256: str, *, batch: Batch | None = None, read_only: bool = False
) -> Published:
    """As `write_new`, the content being a copy of a file with a known hash."""
    return copy_in(seam, source, path.parent, path.name, known_sha256, batch=batch, read_only=read_only, exact=True)


def link_new(seam: Seam, target: Path, path: Path, *, batch: Batch | None = None) -> bool:
    """A symbolic link at `path` to `target`, for exports; an equal link that stands there is fine and stays.

    False where this disk or user cannot have symbolic links (FAT, Windows without the right): copy instead.
    DarklibError 'exists_and_differs' where something else has the name.
    """
    make_folders(seam, path.parent, batch)
    with told(path, "cannot make the link"):
        try:
            seam.symlink(target, path)
        except FileExistsError:
            try:
                same = seam.readlink(path) == str(target)
            except OSError:  # not a link
                same = False
            if not same:
                raise other_file(path) from None
        except OSError as error:
            if error.errno in _NO_LINKS or getattr(error, "winerror", None) == 1314:  # the right is not held
                return False
            raise
        secure(seam, path.parent, batch)
    return True


def _publish(
    seam: Seam,
    folder: Path,
    name: str,
    write: Callable[[FileIO, Path], T],
    check: Callable[[Path, T], tuple[str, int]],
    batch: Batch | None,
    read_only: bool,
    exact: bool,
) -> Published:
    """write: fills the temporary file; check: reads it again and returns (sha256, size) or raises."""
    part = folder / f".{name[:50]}.{seam.token()}{PART}"
    try:
        with told(part, "cannot write"):
            handle = seam.create_exclusive(part)
        with handle:
            wrote = write(handle, part)
            with told(part, "cannot write"):
                seam.fsync(handle)
        sha256, size = check(part, wrote)
        done = _named(seam, part, folder, name, sha256, size, exact, batch)
    except BaseException:
        remove_quietly(seam, part)
        raise
    return _finished(seam, done, batch, read_only)


def _finished(seam: Seam, done: Published, batch: Batch | None, read_only: bool) -> Published:
    """The last two steps; for a file that was there too, since the run that put it may have been killed before."""
    if read_only:
        with suppress(OSError):  # best effort: not every disk knows permissions
            seam.make_read_only(done.path)
    secure(seam, done.path.parent, batch)
    return done


def _named(
    seam: Seam, part: Path, folder: Path, name: str, sha256: str, size: int, exact: bool, batch: Batch | None
) -> Published:
    number = 1
    while True:
        path = folder / numbered(name, number)
        if batch is not None and not exact and batch.clashes(folder, path.name):
            number += 1
            continue
        with told(path, "cannot store"):
            try:
                _give_name(seam, part, path)
                if batch is not None:
                    batch.named(path)
                return Published(path, sha256, size)
            except FileExistsError:
                pass
        standing = _same_there(seam, path, sha256, size)
        if standing is not None:
            remove_quietly(seam, part)
            return standing
        if exact:
            raise other_file(path)
        number += 1


def _give_name(seam: Seam, part: Path, path: Path) -> None:
    """The temporary file gets its name, FileExistsError where it is taken; afterwards the temporary name is gone."""
    if not seam.windows:
        try:
            seam.link(part, path)
        except FileExistsError:
            raise
        except OSError as error:
            if error.errno not in _NO_LINKS:
                raise
        else:
            remove_quietly(seam, part)
            return
    try:
        seam.rename_new(part, path)
    except FileExistsError:
        raise
    except OSError as error:
        if error.errno not in _NO_SUCH_CALL:
            raise
        _claim_name(seam, part, path)


def _claim_name(seam: Seam, part: Path, path: Path) -> None:
    """Where there is neither: take the name with an empty file, which nobody else can then have, and put the whole
    file in its place. Killed between, an empty file stays; `verify` names it.
    """
    with seam.create_exclusive(path):
        pass
    try:
        seam.replace(part, path)
    except BaseException:
        remove_quietly(seam, path)
        raise


def _same_there(seam: Seam, path: Path, sha256: str, size: int | None) -> Published | None:
    """What stands at `path`, if it is a file with this very content."""
    try:
        there = seam.lstat(path)
        if not stat_bits.S_ISREG(there.st_mode) or size not in (None, there.st_size):
            return None
        found, found_size = hash_file(seam, path)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise in_words(error, path, "cannot read") from error
    return Published(path, sha256, found_size, already_there=True) if found == sha256 else None


def _write_all(seam: Seam, handle: FileIO, data: Buffer) -> None:
    rest = memoryview(data)
    while rest:
        count = seam.write(handle, rest)
        if count <= 0:
            raise OSError(errno.EIO, "the disk takes no more bytes")
        rest = rest[count:]


def _copy_all(seam: Seam, source: FileIO, target: FileIO, path: Path) -> int:
    """Every byte from handle to handle; returns how many."""
    size = 0
    with told(path, "cannot write"):
        try:
            while count := seam.transfer(source, target, TRANSFERRED):
                size += count
            return size
        except OSError as error:
            if error.errno not in _NO_TRANSFER:
                raise
    # Both handles stand behind what was moved.
    buffer = memoryview(bytearray(PIECE))
    while count := seam.readinto(source, buffer):
        with told(path, "cannot write"):
            _write_all(seam, target, buffer[:count])
        size += count
    return size


def _differs(path: Path) -> DarklibError:
    return DarklibError(
        "copy_differs",
        f"The copy read back from the disk differs from what was written: {shown(str(path))}. It was not kept.",
        path=shown(str(path)),
        remedy="The source is untouched. Check memory, cable and disk, then run the same command again.",
    )


def other_file(path: Path) -> DarklibError:
    """The error for a name that another file has."""
    return DarklibError(
        "exists_and_differs",
        f"Another file stands there and is never overwritten: {shown(str(path))}.",
        path=shown(str(path)),
        remedy="Choose another folder, or move that file away.",
    )
