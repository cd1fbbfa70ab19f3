"""Watching folders: what settles in them is taken in, round after round, until Ctrl-C.

Between rounds nothing of the library is held: a rebuild, an upgrade or any other command may run. A round that fails is
told and tried again after a growing pause; a folder that goes away is waited for.
"""

import gc
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from darklib.facts.errors import DarklibError
from darklib.jobs.asked import Stated
from darklib.jobs.derive import after_ingest
from darklib.jobs.derive_apart import after_round
from darklib.jobs.intake import Intake
from darklib.jobs.interrupt import SafeStop
from darklib.jobs.library import Opened, open_library
from darklib.jobs.placing import chosen
from darklib.jobs.ports import NobodyToAsk, Progress, Silent
from darklib.jobs.results import IngestResult
from darklib.readers.answers import Refusal
from darklib.readers.complete import TASK, UNFINISHED, head_of
from darklib.readers.guard import Guard
from darklib.store.layout import Library
from darklib.store.mishap import in_words, told
from darklib.store.names import shown
from darklib.store.seam import Seam
from darklib.store.settled import Settling, unsettled
from darklib.store.walk import Found, walk

LOOK_EVERY_S = 5.0
PAUSE_FOR_LOOKING = 4.0
"""A look through the folders that takes long, on a slow share, is followed by a pause so many times as long."""

LONGEST_PAUSE_S = 300.0
"""The pause after failures, which doubles each time."""

OF_THE_MOMENT = frozenset(("unreadable", "changed_while_read", "folder_unreadable"))
"""Codes of files set aside without a copy, because they could not be read this time: they are tried again."""


class Teller(Protocol):
    """Whom a watch tells what happened."""

    def watching(self, places: Sequence[str]) -> None:
        """These folders are watched from now on."""

    def took_in(self, result: IngestResult, root: Path) -> None:
        """A round has taken files in (or would have, in a dry run). root: of the library."""

    def failed(self, error: DarklibError, again_in_s: float) -> None:
        """A round failed and will be tried again."""

    def note(self, text: str) -> None:
        """A sentence worth seeing: a folder went or came back, a file is waited for."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What to watch and how to take in. paths: folders; none is the library's inbox."""

    paths: tuple[str, ...] = ()
    stated: Stated = field(default_factory=Stated)
    in_place: bool = False
    move: bool = False
    dry_run: bool = False


class Round(Intake):
    """One run of taking in, which can be asked what it has done even when it was stopped."""

    def outcome(self) -> IngestResult:
        """What became of the files so far."""
        return self._result()


@dataclass(slots=True)
class Watch:
    """A watch of some folders. `look` once is one look, and a round where something has settled."""

    root: Path
    asked: Asked
    teller: Teller
    seam: Seam = field(default_factory=Seam)
    progress: Progress = field(default_factory=Silent)
    workers: int = 0
    settling: Settling = field(default_factory=Settling)
    deriving: Callable[[Opened, IngestResult], IngestResult] = after_ingest
    _away: set[Path] = field(default_factory=set)
    _all_seen: bool = False
    _failures: int = 0
    _said: str = ""

    def begin(self) -> None:
        """Sees that the library opens and the folders may be watched. Raises DarklibError where not."""
        chosen(in_place=self.asked.in_place, move=self.asked.move)
        with open_library(self.root, seam=self.seam) as opened:
            if self.asked.paths:
                walk(self.seam, self.places(), opened.layout.root)
        for place in self.places() if self.asked.paths else ():
            with told(place, "cannot look into"):
                is_folder = self.seam.is_folder(place)
            if not is_folder:
                raise DarklibError(
                    "not_a_folder",
                    f"{shown(str(place))} is no folder; only folders can be watched.",
                    path=shown(str(place)),
                    remedy="Give the folder the files arrive in.",
                )
        self.teller.watching([shown(str(place)) for place in self.places()])

    def places(self) -> list[Path]:
        """The folders that are watched."""
        if not self.asked.paths:
            return [Library(self.root).inbox]
        return [Path(self.seam.absolute(path)) for path in self.asked.paths]

    def go_on(self) -> None:
        """Looks again and again. Ends with KeyboardInterrupt, after the file in hand and with all complete recorded."""
        # Ctrl-C is only noted, and heeded here: raised wherever the program happens to be, it can be lost, for instance
        # while objects are cleared away.
        with SafeStop() as stop:
            while not stop.asked:
                self.seam.sleep(self.look(lambda: stop.asked), lambda: stop.asked)

    def look(self, stopping: Callable[[], bool] = lambda: False) -> float:
        """One look at the folders, and a round where something has settled. Returns seconds until the next.

        stopping: whether Ctrl-C was pressed, so that no round shall begin.
        """
        try:
            started_s = self.seam.monotonic()
            due = self.settling.look(self._found(), started_s, all_seen=lambda: self._all_seen)
            looked_s = self.seam.monotonic() - started_s
            ready = self._examined(due, stopping) if due else []
            if ready and not stopping():
                self._round(ready)
        except BrokenPipeError:
            raise  # nobody reads what is told
        except DarklibError as error:
            return self._failed(error)
        except Exception as error:  # noqa: BLE001 - a watch goes on for weeks, whatever one round ran into
            words = f"Unexpected {type(error).__name__}: {' '.join(str(error).split()) or 'no further words'}"
            return self._failed(DarklibError("unexpected", words))
        self._failures, self._said = 0, ""
        return max(LOOK_EVERY_S, PAUSE_FOR_LOOKING * looked_s)

    # 1. what is there

    def _found(self) -> Iterator[Found]:
        """The files there are, one by one; at the end `_all_seen` tells whether all folders could be looked through."""
        self._all_seen = False
        there = [place for place in self.places() if self._there(place)]
        troubled, some = bool(self._away), False
        for item in walk(self.seam, there, self.root) if there else ():
            if isinstance(item, Found):
                some = True
                yield item
            elif item.code in ("unreadable", "folder_unreadable"):
                troubled = True
        # Where a card was unmounted its folder may stay behind, empty: no proof that its files are gone for good.
        self._all_seen = some and not troubled

    def _there(self, place: Path) -> bool:
        try:
            there, why = self.seam.is_folder(place), "it is not there"
            if there:
                self.seam.scandir(place)
        except OSError as error:
            there, why = False, in_words(error, place, "cannot look into").text
        if there and place in self._away:
            self._away.discard(place)
            self.teller.note(f"{shown(str(place))} is there again.")
        elif not there and place not in self._away:
            self._away.add(place)
            sentence = why if why.endswith(".") else f"{shown(str(place))}: {why}."
            self.teller.note(f"{sentence} Waiting until it comes back.")
        return there

    # 2. what of it is settled

    def _examined(self, due: Sequence[Found], stopping: Callable[[], bool]) -> list[Found]:
        """Those that are whole. Raw files are looked into by workers, which may hang or crash over them."""
        ready: list[Found] = []
        unsure: list[Found] = []
        for item in due:
            if stopping():
                return []
            try:
                head = head_of(item.path)
                why = unsettled(self.seam, item, head.data_end) if head.is_frame else None
            except OSError as error:
                self._hold_back(item, in_words(error, item.path, "cannot read").text)
                continue
            if head.trouble is not None:
                self._not_whole(item, head.trouble, ready)
            elif why is not None:
                self._hold_back(item, f"{shown(str(item.path))} is waited for: {why}.")
            else:
                (ready if head.sure else unsure).append(item)
        if unsure:
            with Guard(self.workers, task=TASK) as guard:
                looks = guard.map([str(item.path) for item in unsure])
                for item, look in zip(unsure, looks, strict=True):
                    if stopping():
                        return []
                    if look.refusal is not None and look.refusal.code in UNFINISHED:
                        self._not_whole(item, look.refusal, ready)
                    else:
                        ready.append(item)
        chosen_ones = {item.path for item in ready}
        return [item for item in due if item.path in chosen_ones]

    def _not_whole(self, item: Found, trouble: Refusal, ready: list[Found]) -> None:
        """Waited for; but what has kept still for long will never be whole: it is set aside, and that told."""
        if self.settling.out_of_patience(item, self.seam.monotonic()):
            ready.append(item)
        else:
            self._hold_back(item, f"{shown(str(item.path))} is waited for: {trouble.text}.")

    def _hold_back(self, item: Found, why: str) -> None:
        if self.settling.hold_back(item, self.seam.monotonic(), why):
            self.teller.note(why)

    # 3. a round

    def _round(self, ready: Sequence[Found]) -> None:
        with open_library(self.root, seam=self.seam) as opened:
            one = self._prepared(opened)
            try:
                result = self.deriving(opened, one.run(ready))
            except BaseException:
                with suppress(DarklibError):  # the first error counts
                    self._tell(ready, one.outcome())
                raise
        self._tell(ready, result)
        del one, result
        # The command line lets circles of objects lie until there are very many; a watch has time to clear them away.
        gc.collect()

    def _tell(self, ready: Sequence[Found], result: IngestResult) -> None:
        self._note_outcome(ready, result)
        if result.counts.seen:
            self.teller.took_in(result, self.root)

    def _prepared(self, opened: Opened) -> Round:
        asked = self.asked
        return Round(
            opened,
            "ingest",
            chosen(in_place=asked.in_place, move=asked.move),
            asked.stated,
            move=asked.move,
            dry_run=asked.dry_run,
            progress=self.progress,
            ask=NobodyToAsk(),
            workers=self.workers,
        )

    def _note_outcome(self, ready: Sequence[Found], result: IngestResult) -> None:
        """Files that were dealt with are known from now on; those that could not be read are tried again."""
        now_s = self.seam.monotonic()
        tried_again = {one.path for one in result.set_aside if one.code in OF_THE_MOMENT}
        done = set(_named(result)) - tried_again
        for item in ready:
            name = shown(str(item.path))
            if name in tried_again:
                self.settling.failed(item, now_s)
            elif name in done:
                self.settling.done(item, now_s)

    # 4. trouble

    def _failed(self, error: DarklibError) -> float:
        pause_s = min(LOOK_EVERY_S * 2.0 ** (self._failures + 1), LONGEST_PAUSE_S)
        if pause_s < LONGEST_PAUSE_S or error.code != self._said:  # the same trouble for hours is told once
            self.teller.failed(error, pause_s)
        if pause_s >= LONGEST_PAUSE_S:
            self._said = error.code  # texts name temporary files, other ones each time
        self._failures = min(self._failures + 1, 16)
        return pause_s


def _named(result: IngestResult) -> Iterator[str]:
    yield from (frame.source_path for frame in result.stored)
    for listed in (result.duplicates, result.set_aside, result.passed_over):
        yield from (one.path for one in listed)


def watch(
    root: Path,
    asked: Asked,
    teller: Teller,
    *,
    seam: Seam | None = None,
    progress: Progress | None = None,
    workers: int = 0,
) -> None:
    """Watches folders and takes in what settles in them, until Ctrl-C, which comes through as KeyboardInterrupt.

    A file is taken when it was the same in two looks and is whole (`store/settled`). With `move` its source is taken
    away once its copy is verified; in place it stays where it is; in a dry run each file is told of once and nothing is
    written. Nobody is asked: a frame whose kind cannot be told is stored as undecided. Raises DarklibError at once
    where there is no library or a folder cannot be watched.
    """
    one = Watch(root, asked, teller, seam or Seam(), progress or Silent(), workers)
    if seam is None:  # another process could not see through a seam of the caller's
        one.deriving = after_round
    one.begin()
    one.go_on()
