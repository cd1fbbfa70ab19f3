"""Where the bytes of a frame come to stand: copied into the library, or left where they are."""

from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from darklib.facts.errors import DarklibError, Exit
from darklib.facts.frame import Frame
from darklib.jobs.library import Opened
from darklib.store.durable import Batch, copy_in
from darklib.store.layout import frame_folder
from darklib.store.names import stored_name
from darklib.store.walk import Found


@dataclass(frozen=True, slots=True)
class Work:
    """What placing needs of a run: the library, the folders to settle, and whether nothing shall be written."""

    opened: Opened
    batch: Batch
    dry_run: bool


class Placing(Protocol):
    """Where a frame's bytes come to stand."""

    in_place: bool
    keeps_what_is_set_aside: bool

    def place(self, work: Work, found: Found, sha256: str, frame: Frame) -> Path:
        """The path of the verified bytes. DarklibError 'source_changed' and 'vanished' concern this file alone."""


class CopiedIn:
    """A verified copy in the library's folders."""

    in_place = False
    keeps_what_is_set_aside = True

    def place(self, work: Work, found: Found, sha256: str, frame: Frame) -> Path:
        """Copies, or says where the copy would be."""
        folder = work.opened.layout.frames / _folder(frame)
        name = stored_name(found.path.parent.name, found.path.name)
        if work.dry_run:
            return folder / name
        return copy_in(work.opened.seam, found.path, folder, name, sha256, batch=work.batch).path


class LeftWhereItIs:
    """Catalogued where the file lies, outside the library or (adopted) inside it."""

    keeps_what_is_set_aside = False

    def __init__(self, in_place: bool = True) -> None:
        self.in_place = in_place

    def place(self, work: Work, found: Found, sha256: str, frame: Frame) -> Path:
        """The file's own path."""
        return found.path


def chosen(*, in_place: bool, move: bool) -> Placing:
    """How to take in. Raises DarklibError (usage) for both at once."""
    if in_place and move:
        raise DarklibError(
            "in_place_and_move",
            "--in-place leaves the files where they are, --move empties the source; the two exclude each other.",
            remedy="Choose one of them.",
            status=Exit.USAGE,
        )
    return LeftWhereItIs() if in_place else CopiedIn()


def _folder(frame: Frame) -> str:
    return frame_folder(
        frame.kind.value if frame.kind else None,
        frame.body.id if frame.body else None,
        frame.exposure_s,
        frame.temperature_c if frame.set_temperature_c is None else frame.set_temperature_c,
        frame.night,
        frame.train.label if frame.train else None,
        frame.filter,
    )
