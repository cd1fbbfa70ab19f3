"""Folders made, and the fsyncs that make new names in them durable, singly or many at a time."""

import threading
from contextlib import suppress
from pathlib import Path
from types import TracebackType

from darklib.store.mishap import told
from darklib.store.names import alike
from darklib.store.seam import Seam


class Batch:
    """Folders whose names must still be made durable: many files, one fsync a folder.

    Nothing published with a batch counts as stored before `settle` has returned. May be shared by threads.
    As a context it settles at the end, unless an exception leaves it.

    top: the library's folder. With it, the folders between a new name and `top` are secured once too: a killed run
    may have made them without, and nobody can see that afterwards.
    """

    def __init__(self, seam: Seam, top: Path | None = None) -> None:
        self._seam = seam
        self._top = top
        self._secured: set[Path] = set()
        self._folders: dict[Path, None] = {}
        self._names: dict[Path, dict[str, str]] = {}
        self._lock = threading.Lock()

    def add(self, folder: Path) -> None:
        """This folder got a new name."""
        with self._lock:
            self._folders[folder] = None
            if self._top is not None and self._top in folder.parents:
                above = folder.parent
                while above != self._top.parent:
                    if above not in self._secured:
                        self._folders[above] = None
                    above = above.parent

    def clashes(self, folder: Path, name: str) -> bool:
        """Whether another name stands in the folder that some system takes for this one: a library may be copied to a
        disk that does not tell capital from small letters. Names of other processes since the first look are not seen.
        """
        with self._lock:
            if folder not in self._names:
                with suppress(OSError):  # what cannot be listed refuses the file itself
                    entries = self._seam.scandir(folder)
                    self._names[folder] = {alike(entry.name): entry.name for entry in entries}
            return self._names.get(folder, {}).get(alike(name), name) != name

    def named(self, path: Path) -> None:
        """This file got its name."""
        with self._lock:
            if path.parent in self._names:
                self._names[path.parent].setdefault(alike(path.name), path.name)

    def settle(self) -> None:
        """fsync every folder noted so far; one that fails stays noted."""
        # Taken off before its fsync: a name that another thread puts into it meanwhile notes the folder anew.
        while True:
            with self._lock:
                folder = next(iter(self._folders), None)
                if folder is None:
                    return
                del self._folders[folder]
            try:
                with told(folder, "cannot secure the folder"):
                    self._seam.fsync_folder(folder)
            except BaseException:
                with self._lock:
                    self._folders[folder] = None
                raise
            with self._lock:
                self._secured.add(folder)

    def __enter__(self) -> "Batch":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.settle()


def make_folders(seam: Seam, folder: Path, batch: Batch | None = None) -> None:
    """A folder and those above it that are missing; their names are durable (at once, or with the batch)."""
    missing: list[Path] = []
    at = folder
    with told(folder, "cannot make the folder"):
        while not seam.is_folder(at):
            missing.append(at)
            if at.parent == at:
                break
            at = at.parent
        for one in reversed(missing):
            try:
                seam.mkdir(one)
            except FileExistsError:
                if not seam.is_folder(one):
                    raise
            secure(seam, one.parent, batch)


def secure(seam: Seam, folder: Path, batch: Batch | None) -> None:
    """fsync the folder now, or note it in the batch."""
    if batch is not None:
        batch.add(folder)
        return
    with told(folder, "cannot secure the folder"):
        seam.fsync_folder(folder)
