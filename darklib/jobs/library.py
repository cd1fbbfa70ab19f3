"""Finding, making and opening a library; opening replays what an interrupted run left in the journal."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

from darklib.catalogue.catalogue import Catalogue
from darklib.catalogue.schema import current, open_catalogue
from darklib.facts.entries import Entry, Stored, decode
from darklib.facts.errors import DarklibError
from darklib.facts.settings import Settings
from darklib.jobs.results import InitResult
from darklib.store import configuration, journal
from darklib.store.keeping_apart import Hold, alone, recording, using
from darklib.store.layout import Library, find, make, makeable
from darklib.store.mishap import told
from darklib.store.seam import Seam

REPLAY_AT_ONCE = 500
"""Journal lines applied in one transaction when a tail is replayed."""

WAIT_FOR_TABLES_S = 600.0
"""How long a command waits for its turn to make or upgrade the tables."""


@dataclass(slots=True)
class Opened:
    """A library in use. Close it (or use `with`): the catalogue holds a file open."""

    layout: Library
    settings: Settings
    catalogue: Catalogue
    seam: Seam
    replayed: int = 0
    torn: tuple[str, ...] = ()
    use: Hold | None = None

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
        """Lets the catalogue go, and with it the library."""
        try:
            self.catalogue.close()
        finally:
            if self.use is not None:
                self.use.release()

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
    if dry_run:
        makeable(seam, root)
    else:
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
    with told(root, "cannot open the library"):
        if not seam.exists(layout.config):
            raise no_library()
    settings = configuration.load(seam, layout.config)
    if not current(layout.catalogue):
        with alone(seam, layout, WAIT_FOR_TABLES_S):
            open_catalogue(layout.catalogue, layout.backups, create=True).close()
    use = using(seam, layout)
    try:
        catalogue = open_catalogue(layout.catalogue, layout.backups, create=True)
        opened = Opened(layout, settings, catalogue, seam, use=use)
    except BaseException:
        use.release()
        raise
    try:
        opened.replayed, opened.torn = catch_up(opened)
    except BaseException:
        opened.close()
        raise
    return opened


def catch_up(opened: Opened) -> tuple[int, tuple[str, ...]]:
    """Replays the tail of the journal, if there is one. What another process is just recording is left to it."""
    seam, layout, catalogue = opened.seam, opened.layout, opened.catalogue
    if not list(_tails(seam, layout.journal, catalogue)):
        return 0, ()
    with recording(seam, layout):
        return replay(seam, layout.journal, catalogue)


def replay(
    seam: Seam,
    folder: Path,
    catalogue: Catalogue,
    up_to: Mapping[str, int] | None = None,
    each: Callable[[str, int], None] | None = None,
) -> tuple[int, tuple[str, ...]]:
    """Applies every journal line that the catalogue has not seen, in the order of the runs. Nobody else may record
    meanwhile, but where it is said of each file how far it is to be read (`up_to`). each: called for each frame that
    was stored, with its path and 0.

    Returns how many lines were applied, and the files whose last line is torn or in which a line is damaged. Raises
    DarklibError 'newer_journal' at a line that a newer darklib wrote: what follows it must not overtake it.
    """
    applied, troubled = 0, []
    for path, start in _tails(seam, folder, catalogue):
        waiting: list[tuple[Entry, int]] = []
        run = path.stem
        end = None if up_to is None else up_to.get(path.name, 0)
        for line in journal.read(seam, path, start):
            if end is not None and line.offset >= end:
                break
            if line.trouble == "other_schema":
                raise newer_journal(path)
            if line.entry is None:
                troubled.append(path.name)
                continue
            entry = decode(line.entry)
            waiting.append((entry, line.offset_after))
            if each is not None and isinstance(entry, Stored):
                each(entry.record.path, 0)
            if len(waiting) >= REPLAY_AT_ONCE:
                applied += _apply(catalogue, run, path.name, waiting)
        applied += _apply(catalogue, run, path.name, waiting)
    return applied, tuple(dict.fromkeys(troubled))


def newer_journal(path: Path) -> DarklibError:
    """The error of a journal line in a form that this version does not know."""
    return DarklibError(
        "newer_journal",
        f"The journal file {path.name} holds a line that this version of darklib does not know.",
        path=str(path),
        remedy="Use the newer version of darklib that wrote it.",
    )


def _tails(seam: Seam, folder: Path, catalogue: Catalogue) -> Iterator[tuple[Path, int]]:
    """Journal files that are longer than what is applied of them, and how far they are applied."""
    positions = catalogue.positions()
    for path in journal.files(seam, folder):
        start = positions.get(path.name, 0)
        with told(path, "cannot read the journal"):
            size = seam.stat(path).st_size
        if size > start:
            yield path, start


def _apply(catalogue: Catalogue, run: str, name: str, waiting: list[tuple[Entry, int]]) -> int:
    if not waiting:
        return 0
    entries: Iterable[Entry] = [entry for entry, _ in waiting]
    count = len(waiting)
    catalogue.apply(entries, run=run, journal_file=name, offset=waiting[-1][1])
    waiting.clear()
    return count
