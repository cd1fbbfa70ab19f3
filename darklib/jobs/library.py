"""Finding, making and opening a library; opening replays what an interrupted run left in the journal."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

from darklib.catalogue.catalogue import Catalogue
from darklib.catalogue.schema import open_catalogue
from darklib.facts.entries import Entry, decode
from darklib.facts.errors import DarklibError
from darklib.facts.settings import Settings
from darklib.jobs.results import InitResult
from darklib.store import configuration, journal
from darklib.store.layout import Library, find, make
from darklib.store.seam import Seam

REPLAY_AT_ONCE = 500
"""Journal lines applied in one transaction when a tail is replayed."""


@dataclass(slots=True)
class Opened:
    """A library in use. Close it (or use `with`): the catalogue holds a file open."""

    layout: Library
    settings: Settings
    catalogue: Catalogue
    seam: Seam
    replayed: int = 0
    torn: tuple[str, ...] = ()

    @property
    def root(self) -> Path:
        """The library's absolute folder."""
        return self.layout.root

    def __enter__(self) -> "Opened":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Lets the catalogue go."""
        self.catalogue.close()

    def absolute(self, path: str) -> str:
        """A frame's path as the catalogue holds it (relative, or absolute where in place), made absolute."""
        return str(self.layout.absolute(path))


def no_library() -> DarklibError:
    """The error of a command that needs a library where there is none."""
    return DarklibError(
        "no_library",
        "There is no darklib library here.",
        remedy="Make one with `darklib init FOLDER`, or name yours with --library FOLDER or DARKLIB_LIBRARY.",
    )


def find_root(explicit: str | None, seam: Seam | None = None) -> Path:
    """The library's folder: --library, else DARKLIB_LIBRARY, else the nearest parent that is one, else the user's own.

    Raises DarklibError where none of these is a library.
    """
    seam = seam or Seam()
    found = find(seam, explicit, seam.environment("DARKLIB_LIBRARY"), seam.cwd(), seam.user_data_folder())
    if found is None:
        raise no_library()
    return found.root


def init(
    folder: str | None, *, timezone: str | None = None, seam: Seam | None = None, dry_run: bool = False
) -> InitResult:
    """Makes a library in `folder` (default: the user's data folder). Never touches one that exists.

    timezone: IANA name; default: the system's own, else Etc/UTC.
    """
    seam = seam or Seam()
    root = Path(seam.absolute(folder)) if folder else seam.user_data_folder()
    zone = timezone or local_zone()
    text = configuration.default_text(zone)
    if not dry_run:
        library = make(seam, root, text)
        open_catalogue(library.catalogue, library.backups, create=True).close()
    return InitResult(str(root), zone, dry_run)


def local_zone() -> str:
    """The system's time zone as an IANA name; Etc/UTC where it cannot be told."""
    import tzlocal

    try:
        return tzlocal.get_localzone_name() or "Etc/UTC"
    except (LookupError, ValueError, OSError):
        return "Etc/UTC"


def open_library(root: Path, *, seam: Seam | None = None) -> Opened:
    """Opens the library at `root`: reads its configuration, upgrades an older catalogue (after a backup), makes a
    missing one from the journal, and replays what an interrupted run wrote to the journal but not to the catalogue.
    """
    seam = seam or Seam()
    layout = Library(root)
    if not seam.exists(layout.config):
        raise no_library()
    settings = configuration.load(seam, layout.config)
    catalogue = open_catalogue(layout.catalogue, layout.backups, create=True)
    opened = Opened(layout, settings, catalogue, seam)
    try:
        opened.replayed, opened.torn = replay(seam, layout.journal, catalogue)
    except BaseException:
        catalogue.close()
        raise
    return opened


def replay(seam: Seam, folder: Path, catalogue: Catalogue) -> tuple[int, tuple[str, ...]]:
    """Applies every journal line that the catalogue has not seen, in the order of the runs.

    Returns how many lines were applied, and the files whose last line is torn or in which a line is damaged.
    """
    positions = catalogue.positions()
    applied, troubled = 0, []
    for path in journal.files(seam, folder):
        start = positions.get(path.name, 0)
        if seam.stat(path).st_size <= start:
            continue
        waiting: list[tuple[Entry, int]] = []
        run = path.stem
        for line in journal.read(seam, path, start):
            if line.entry is None:
                troubled.append(path.name)
                continue
            waiting.append((decode(line.entry), line.offset_after))
            if len(waiting) >= REPLAY_AT_ONCE:
                applied += _apply(catalogue, run, path.name, waiting)
        applied += _apply(catalogue, run, path.name, waiting)
    return applied, tuple(dict.fromkeys(troubled))


def _apply(catalogue: Catalogue, run: str, name: str, waiting: list[tuple[Entry, int]]) -> int:
    if not waiting:
        return 0
    entries: Iterable[Entry] = [entry for entry, _ in waiting]
    count = len(waiting)
    catalogue.apply(entries, run=run, journal_file=name, offset=waiting[-1][1])
    waiting.clear()
    return count
