"""Where things stand in a library folder, how one is found, and how one is made."""

from dataclasses import dataclass
from pathlib import Path, PurePath, PurePosixPath

from darklib.facts.errors import DarklibError, Exit
from darklib.store.batch import Batch, make_folders
from darklib.store.durable import Published, copy_in, publish_text
from darklib.store.mishap import told
from darklib.store.names import folder_name, shown, unshown
from darklib.store.seam import Seam

MARKER = "darklib.toml"
CATALOGUE = "catalogue.sqlite"
FOLDERS = ("inbox", "frames", "set-aside", "journal", "backups", "cache")


@dataclass(frozen=True, slots=True)
class Library:
    """A library folder. root: absolute."""

    root: Path

    @property
    def config(self) -> Path:
        return self.root / MARKER

    @property
    def catalogue(self) -> Path:
        return self.root / CATALOGUE

    @property
    def inbox(self) -> Path:
        return self.root / "inbox"

    @property
    def frames(self) -> Path:
        return self.root / "frames"

    @property
    def set_aside(self) -> Path:
        return self.root / "set-aside"

    @property
    def journal(self) -> Path:
        return self.root / "journal"

    @property
    def backups(self) -> Path:
        return self.root / "backups"

    @property
    def cache(self) -> Path:
        return self.root / "cache"

    @property
    def in_use(self) -> Path:
        """Locked, in common with others, by every command while it has the catalogue open; see `keeping_apart`."""
        return self.root / ".in-use.lock"

    @property
    def recording(self) -> Path:
        """Locked by whoever adds to the journal and the catalogue, while it does."""
        return self.root / ".recording.lock"

    def holds(self, path: PurePath) -> bool:
        """Whether an absolute path lies in the library folder by its text."""
        return path == self.root or self.root in path.parents

    def relative(self, path: PurePath) -> str:
        r"""How the catalogue and the journal write a path: relative with `/` inside the library, else absolute.

        Valid UTF-8 whatever the name: undecodable bytes as `\xNN`; `absolute` and `reached` find the way back.
        """
        return shown(path.relative_to(self.root).as_posix() if self.holds(path) else str(path))

    def absolute(self, text: str) -> Path:
        """The inverse of `relative`. DarklibError 'outside_library' for a relative text that climbs out."""
        path = Path(text)
        if path.is_absolute():
            return path
        if ".." in PurePosixPath(text).parts or path.drive or path.root:
            raise DarklibError(
                "outside_library",
                f"A recorded path leads out of the library: {shown(text)}.",
                path=shown(text),
                remedy="Run verify: the catalogue or the journal was changed by hand.",
            )
        return self.root / path

    def reached(self, seam: Seam, text: str) -> Path:
        r"""As `absolute`, trying undecodable bytes for `\xNN` where nothing has the name as written."""
        path = self.absolute(text)
        raw = unshown(text)
        if raw != text and not seam.exists(path):
            return self.absolute(raw)
        return path


def is_library(seam: Seam, folder: Path) -> bool:
    """Whether a folder is a library: its configuration marks it. A folder that cannot be seen is none."""
    try:
        return seam.exists(folder / MARKER)
    except OSError:
        return False


def find(seam: Seam, explicit: str | None, env: str | None, cwd: Path, user_data_folder: Path) -> Library | None:
    """The library meant: the one named, else the environment's, else the nearest folder upwards that is one, else
    the user's own; None where there is none of these.

    DarklibError 'no_library' (usage) where one is named and is none.
    """
    for text, named_by in ((explicit, "--library"), (env, "DARKLIB_LIBRARY")):
        if text:
            root = _from(seam, text, cwd)
            if is_library(seam, root):
                return Library(root)
            raise DarklibError(
                "no_library",
                f"There is no library in {shown(str(root))} ({named_by}).",
                path=shown(str(root)),
                remedy=f"Give the folder that holds {MARKER}, or make one there with `darklib init`.",
                status=Exit.USAGE,
            )
    for folder in (cwd, *cwd.parents, user_data_folder):
        if is_library(seam, folder):
            return Library(folder)
    return None


def _from(seam: Seam, text: str, cwd: Path) -> Path:
    return seam.absolute(text if text.startswith("~") else cwd / text)


def make(seam: Seam, root: Path, config_text: str) -> Library:
    """A new library: its folders, and last the configuration, whose presence makes it one.

    The folder may exist, but hold nothing except what an interrupted `make` left. DarklibError 'library_exists',
    'inside_library', 'folder_not_empty' (nothing is changed then), or what the disk refused (run it again).
    """
    root = seam.absolute(root)
    library = Library(root)
    makeable(seam, root)
    with Batch(seam) as batch:
        for name in FOLDERS:
            make_folders(seam, root / name, batch)
    publish_text(seam, config_text, root, MARKER, exact=True)
    return library


def makeable(seam: Seam, root: Path) -> None:
    """Nothing where a library could be made at `root`, else the DarklibError that `make` would raise."""
    with told(root, "cannot make a library in"):
        if seam.exists(Library(root).config):
            raise _refused("library_exists", f"{shown(str(root))} is a library already; it was not touched.", root)
        for above in root.parents:
            if is_library(seam, above):
                raise _refused("inside_library", f"{shown(str(root))} lies in the library {shown(str(above))}.", root)
        if seam.exists(root):
            if not seam.is_folder(root):
                raise _refused("folder_not_empty", f"{shown(str(root))} is a file.", root)
            foreign = [entry.name for entry in seam.scandir(root) if not _ours(entry.name)]
            if foreign:
                raise _refused(
                    "folder_not_empty", f"{shown(str(root))} is not empty: it holds {shown(foreign[0])}.", root
                )


def _ours(name: str) -> bool:
    return name in FOLDERS or name.startswith((".", CATALOGUE))


def _refused(code: str, text: str, root: Path) -> DarklibError:
    return DarklibError(code, text, path=shown(str(root)), remedy="Give an empty or a new folder.")


def frame_folder(
    kind: str | None,
    body_slug: str | None,
    exposure_s: float | None,
    temperature_c: float | None,
    night: str | None,
    train_slug: str | None,
    filter_name: str | None,
) -> str:
    """The folder of a frame below `frames/`, with `/`: what was known when it was taken in.

    dark/<body>/<exposure>/<temperature>/<night>, bias/<body>/<night>, light/<night>, flat/<train>/<filter>/<night>,
    undecided/<night>. What is not known says so (`unknown-body`, `undated`). Temperature in whole degrees C.
    """
    body = folder_name(body_slug or "unknown-body")
    date = folder_name(night or "undated")
    if kind == "dark":
        parts = ["dark", body, exposure_text(exposure_s), temperature_text(temperature_c), date]
    elif kind == "bias":
        parts = ["bias", body, date]
    elif kind == "light":
        parts = ["light", date]
    elif kind == "flat":
        parts = ["flat", folder_name(train_slug or "unknown-train"), folder_name(filter_name or "no-filter"), date]
    else:
        parts = ["undecided", date]
    return "/".join(parts)


def exposure_text(exposure_s: float | None) -> str:
    """An exposure as a folder's name: `300s`, `0.5s`, `0.00025s`."""
    if exposure_s is None:
        return "unknown-exposure"
    plain = f"{exposure_s:.6f}".rstrip("0").rstrip(".")
    return f"{plain}s"


def temperature_text(temperature_c: float | None) -> str:
    """A temperature as a folder's name: `-10C`, `4C`."""
    return "unknown-temperature" if temperature_c is None else f"{round(temperature_c)}C"


def put_aside(
    seam: Seam,
    library: Library,
    run_id: str,
    source: Path,
    name: str,
    text: str,
    known_sha256: str,
    *,
    batch: Batch | None = None,
) -> Published:
    """Keep a copy of what cannot be taken in, as `set-aside/<run>/<name>`, and beside it `<name>.txt` with the reason.

    name: what it shall be called (made safe here). Errors as of `copy_in`; the copy comes first.
    """
    folder = library.set_aside / folder_name(run_id)
    kept = copy_in(seam, source, folder, folder_name(name), known_sha256, batch=batch)
    publish_text(seam, text, folder, kept.path.name + ".txt", batch=batch)
    return kept
