"""May this card be erased? Every file on it: stored and read back now, set aside, or not there. It never erases."""

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path, PurePath

from darklib.facts.errors import DarklibError
from darklib.jobs.interrupt import SafeStop
from darklib.jobs.library import Opened
from darklib.jobs.ports import Progress, Silent
from darklib.jobs.results import CheckResult, NotStored, PassedOver, SetAsideFile
from darklib.readers.open import sniff
from darklib.store.hashing import hash_file
from darklib.store.mishap import told
from darklib.store.names import shown
from darklib.store.walk import Found, walk

HASHING_THREADS = 4
"""Hashing lets other threads run, and a disk answers several readers better than one."""

FOLDERS_NAMED = 3

HARMLESS_TO_ERASE = frozenset(("not_calibratable",))
"""Set aside for what they are (a JPEG preview), not for what befell them: the kept copy is as good."""


@dataclass(frozen=True, slots=True)
class _Answer:
    stored: bool = False
    frame_id: str = ""
    set_aside: SetAsideFile | None = None
    not_stored: NotStored | None = None
    passed: PassedOver | None = None
    kept: bool = False


def check(opened: Opened, paths: Sequence[str], *, progress: Progress | None = None) -> CheckResult:
    """For every file under `paths`: whether the library has it, with the stored copy read and hashed again now.

    may_erase: there are frames, every one is stored and was read back, and nothing that was set aside is there but
    pictures that are no frames and whose kept copies were read back. An empty folder may be a card that is not
    connected, so nothing is said of it. Raises DarklibError for a path that cannot be seen.
    """
    progress = progress or Silent()
    items = list(walk(opened.seam, [Path(path) for path in paths]))
    found = [item for item in items if isinstance(item, Found)]
    answers: list[_Answer] = []
    for item in items:
        if not isinstance(item, Found):
            name = shown(str(item.path))
            if item.code in ("unreadable", "folder_unreadable"):
                answers.append(_Answer(not_stored=NotStored(name, item.code, item.text)))
            else:
                answers.append(_Answer(passed=PassedOver(name, item.code)))
    progress.start(len(found), sum(item.size for item in found))
    with SafeStop() as stop, ThreadPoolExecutor(HASHING_THREADS) as pool:
        for item, hashed in zip(found, pool.map(lambda item: _hashed(opened, item.path), found), strict=True):
            if stop.asked:
                pool.shutdown(wait=False, cancel_futures=True)
                break
            answers.append(_answer(opened, item, hashed))
            progress.advance(shown(str(item.path)), item.size)
    progress.finish()
    set_aside = tuple(answer.set_aside for answer in answers if answer.set_aside)
    not_stored = tuple(answer.not_stored for answer in answers if answer.not_stored)
    stored = sum(answer.stored for answer in answers)
    harmless = all(answer.kept for answer in answers if answer.set_aside)
    checked = stored + len(set_aside) + len(not_stored)
    return CheckResult(
        checked=checked,
        stored=stored,
        set_aside=set_aside,
        not_stored=not_stored,
        passed_over=tuple(answer.passed for answer in answers if answer.passed),
        may_erase=checked > 0 and not not_stored and harmless,
        remarks=tuple(in_place_remarks(opened, [answer.frame_id for answer in answers if answer.stored])),
    )


def _hashed(opened: Opened, path: Path) -> str | DarklibError:
    try:
        return hash_file(opened.seam, path)[0]
    except DarklibError as error:
        return error


def _answer(opened: Opened, item: Found, hashed: str | DarklibError) -> _Answer:
    name = shown(str(item.path))
    if isinstance(hashed, DarklibError):
        return _Answer(not_stored=NotStored(name, hashed.code, hashed.text))
    frames = opened.catalogue.frames_by_id([hashed])
    if frames:
        frame = frames[0]
        with told(frame.path, "cannot see"):
            copy = opened.layout.reached(opened.seam, frame.path)
        if is_one_file(opened, copy, item.path):
            text = "It is catalogued where it lies: this file is the only one the library knows of."
            return _Answer(not_stored=NotStored(name, "in_place", text))
        trouble = copy_trouble(opened, copy, hashed)
        return _Answer(not_stored=NotStored(name, *trouble)) if trouble else _Answer(stored=True, frame_id=frame.id)
    if not sniff(item.path).claims_image:
        # Before what is set aside: every empty file has the content of an empty frame.
        return _Answer(passed=PassedOver(name, "not_an_image"))
    aside = opened.catalogue.set_aside_known(hashed)
    if aside is not None:
        with told(aside.kept_path, "cannot see"):
            kept = opened.layout.reached(opened.seam, aside.kept_path)
        harmless = aside.code in HARMLESS_TO_ERASE and copy_trouble(opened, kept, hashed) is None
        harmless = harmless and not is_one_file(opened, kept, item.path)
        return _Answer(set_aside=SetAsideFile(name, aside.text, aside.code), kept=harmless)
    return _Answer(not_stored=NotStored(name, "unknown", "It was never taken in."))


def in_place_remarks(opened: Opened, ids: Sequence[str]) -> Iterator[str]:
    """What is to be said of frames that are not in the library's folders: erasing the card may take the last copy but
    the one that somebody else looks after.
    """
    folders: dict[str, int] = {}
    for start in range(0, len(ids), 500):
        for frame in opened.catalogue.frames_by_id(dict.fromkeys(ids[start : start + 500])):
            if frame.in_place:
                folder = str(PurePath(frame.path).parent)
                folders[folder] = folders.get(folder, 0) + 1
    count = sum(folders.values())
    if count:
        were = "1 frame is" if count == 1 else f"{count:,} frames are"
        places = ", ".join(sorted(folders)[:FOLDERS_NAMED])
        more = f" and {len(folders) - FOLDERS_NAMED} more folders" if len(folders) > FOLDERS_NAMED else ""
        yield (
            f"{were} not in the library's own folders, but catalogued in place: {places}{more}. "
            "The library does not look after what lies there"
        )


def is_one_file(opened: Opened, kept: Path, path: Path) -> bool:
    """Whether the library's copy is that very file: by another name, behind a link, or under a second mount."""
    with told(kept, "cannot see"):
        if not opened.seam.exists(kept):
            return False
        if opened.seam.real(kept) == opened.seam.real(path):
            return True
        here, there = opened.seam.stat(kept), opened.seam.stat(path)
    # File systems without numbers give 0.
    return bool(here.st_ino) and (here.st_dev, here.st_ino) == (there.st_dev, there.st_ino)


def copy_trouble(opened: Opened, copy: Path, sha256: str) -> tuple[str, str] | None:
    """Code and sentence of what is wrong with a stored copy, read again now; None where it is intact."""
    try:
        with told(copy, "cannot read"):
            there = opened.seam.exists(copy)
        if not there:
            return "copy_missing", f"The stored copy is not there: {shown(str(copy))}."
        found = hash_file(opened.seam, copy)[0]
    except DarklibError as error:
        return "copy_unreadable", error.text
    if found != sha256:
        return "copy_differs", f"The stored copy was changed: {shown(str(copy))}."
    return None
