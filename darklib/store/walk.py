"""Every file under the given paths, in one order, without loops and without leaving the paths."""

import stat as stat_bits
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from darklib.facts.codes import PASSED_OVER
from darklib.facts.errors import DarklibError
from darklib.store.layout import MARKER, Library, is_library
from darklib.store.mishap import in_words, told
from darklib.store.names import shown
from darklib.store.seam import Entry, Seam


@dataclass(frozen=True, slots=True)
class Found:
    """An ordinary file.

    root: the folder that was given (for a file that was given: its folder); relative_parts: the names from there
    down to the file, its own name last. size in bytes; mtime_ns: a hint, never an identity (FAT is off by hours).
    """

    path: Path
    root: Path
    size: int
    mtime_ns: int
    relative_parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Passed:
    """A name that is not looked into. code: of `facts.codes.PASSED_OVER`; text: a sentence."""

    path: Path
    code: str
    text: str


# Names a system keeps for itself, in lower case, with no dot in front.
_SYSTEM = frozenset(
    ["thumbs.db", "ehthumbs.db", "desktop.ini", "system volume information", "$recycle.bin", "recycler", "lost+found"]
)
_UNFINISHED = (".part", ".partial", ".tmp", ".temp", "~")


def walk(seam: Seam, paths: Sequence[Path], library_root: Path | None = None) -> Iterator[Found | Passed]:
    """The files under files and folders, depth first in the order of names; a path inside another given one once.

    Links to folders are not followed, links to files only where they stay below the given path. Hidden and system
    files, unfinished copies, special files and whole libraries come as `Passed`; so do folders that cannot be read.

    DarklibError, before anything is yielded: 'vanished' and the like for a path that cannot be seen, 'inside_library'
    for one in this library other than its inbox, 'is_a_library' for the root of any.
    """
    own = None
    if library_root is not None:
        with told(library_root, "cannot see"):
            own = Library(seam.real(library_root))
    roots: list[tuple[Path, Path, bool]] = []
    for path in map(seam.absolute, paths):
        with told(path, "cannot look into"):
            is_folder = stat_bits.S_ISDIR(seam.stat(path).st_mode)
            real = seam.real(path)
            _refuse_library(seam, path, real, own)
        roots.append((path, real, is_folder))
    kept = []
    for number, (path, real, is_folder) in enumerate(roots):
        again = any(other == real for _, other, _ in roots[:number])
        below_another = any(folder and other in real.parents for _, other, folder in roots)
        if not again and not below_another:
            kept.append((path, real, is_folder))
    return _all(seam, kept)


def walk_own(seam: Seam, folder: Path) -> Iterator[Found | Passed]:
    """As `walk`, of one of the library's own folders, which may be missing: copies of a library may lack empty ones."""
    with told(folder, "cannot look into"):
        there = seam.is_folder(folder)
    return walk(seam, [folder]) if there else iter(())


def _refuse_library(seam: Seam, path: Path, real: Path, own: Library | None) -> None:
    if own is not None and own.holds(real) and not _in_inbox(seam, real, own):
        raise DarklibError(
            "inside_library",
            f"{shown(str(path))} lies in this library; only its inbox is taken in.",
            path=shown(str(path)),
            remedy=f"Put new files into {shown(str(own.inbox))}.",
        )
    if is_library(seam, real):
        raise DarklibError(
            "is_a_library",
            f"{shown(str(path))} is itself a library.",
            path=shown(str(path)),
            remedy="To take in another library's files, give its frames folder.",
        )


def _all(seam: Seam, roots: list[tuple[Path, Path, bool]]) -> Iterator[Found | Passed]:
    for path, real, is_folder in roots:
        if is_folder:
            yield from _folder(seam, path, real)
        else:
            yield _given_file(seam, path)


def _given_file(seam: Seam, path: Path) -> Found | Passed:
    # A file named by the user is taken even if hidden or behind a link: that was said on purpose.
    try:
        facts = seam.stat(path)
    except OSError as error:
        return _unreadable(path, error)
    if not stat_bits.S_ISREG(facts.st_mode):
        return _passed(path, "not_a_file")
    return Found(path, path.parent, facts.st_size, facts.st_mtime_ns, (path.name,))


def _folder(seam: Seam, root: Path, real_root: Path) -> Iterator[Found | Passed]:
    # A stack of sorted listings instead of recursion: folders may be deeper than Python's stack.
    seen: set[tuple[int, int]] = set()
    first = _listing(seam, root, seen)
    if isinstance(first, Passed):
        yield first
        return
    stack = [first]
    while stack:
        entry = next(stack[-1], None)
        if entry is None:
            stack.pop()
            continue
        code = _by_name(entry.name)
        if code is not None:
            yield _passed(entry.path, code)
        elif entry.is_folder:
            below = _listing(seam, entry.path, seen)
            if isinstance(below, Passed):
                yield below
            else:
                stack.append(below)
        else:
            yield _file(seam, entry, root, real_root)


def _listing(seam: Seam, folder: Path, seen: set[tuple[int, int]]) -> Iterator[Entry] | Passed:
    try:
        facts = seam.stat(folder)
        # The same folder under two names (a mount, a junction) is read once; file systems without numbers give 0.
        if facts.st_ino and (facts.st_dev, facts.st_ino) in seen:
            return Passed(folder, "not_a_file", "a folder that was looked into under another name")
        seen.add((facts.st_dev, facts.st_ino))
        entries = seam.scandir(folder)
    except OSError as error:
        return Passed(folder, "folder_unreadable", in_words(error, folder, "cannot read the folder").text)
    if any(entry.name == MARKER for entry in entries):
        return _passed(folder, "library")
    return iter(entries)


def _file(seam: Seam, entry: Entry, root: Path, real_root: Path) -> Found | Passed:
    try:
        if entry.is_link:
            target = seam.real(entry.path)
            if target != real_root and real_root not in target.parents:
                return _passed(entry.path, "link_outside")
            if any(_by_name(part) == "unfinished" for part in target.parts[-1:]):
                return _passed(entry.path, "unfinished")
        facts = seam.stat(entry.path)
    except FileNotFoundError:
        return _passed(entry.path, "not_a_file")
    except OSError as error:
        return _unreadable(entry.path, error)
    if not stat_bits.S_ISREG(facts.st_mode):
        return _passed(entry.path, "not_a_file")
    return Found(entry.path, root, facts.st_size, facts.st_mtime_ns, entry.path.relative_to(root).parts)


def _by_name(name: str) -> str | None:
    low = name.lower()
    if low.endswith(_UNFINISHED):
        return "unfinished"
    if name.startswith(".") or low in _SYSTEM:
        return "hidden"
    return None


def _passed(path: Path, code: str) -> Passed:
    return Passed(path, code, PASSED_OVER[code])


def _unreadable(path: Path, error: OSError) -> Passed:
    return Passed(path, "unreadable", in_words(error, path, "cannot read").text)


def _in_inbox(seam: Seam, real: Path, own: Library) -> bool:
    inbox = seam.real(own.inbox)
    return real == inbox or inbox in real.parents
