"""Recording a change in the order that survives anything: the files, then the journal, then the catalogue.

1. Files are published and their folders settled (`Batch`). Stop here: the files are whole and unknown; the next run
finds them with the same content and records them. 2. Their lines are appended to this run's journal file, on the disk
when the call returns. Stop here: the next command that opens the library replays them. 3. One catalogue transaction
holds the rows and the new journal position.

2 and 3 are done by one process at a time. Lines are only added to the newest journal file: where another run has
recorded since, this one goes on in a new file. So the files in the order of their names, line by line, are the order in
which things were applied, and a replay gives the same catalogue, however many processes were at work.
"""

import platform
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from types import TracebackType

from darklib import __version__
from darklib.facts.entries import Entry, RunEnded, RunStarted, Seen, Stored, encode
from darklib.jobs.library import Opened, replay
from darklib.store.durable import Batch
from darklib.store.journal import JournalWriter, files, new_run_id
from darklib.store.keeping_apart import recording

FRAMES_AT_ONCE = 50
SECONDS_AT_ONCE = 2.0
SECONDS_BETWEEN_TURNS = 10.0
"""While two runs record by turns, each turn makes a file."""


@dataclass(slots=True)
class _Waiting:
    """An entry not yet recorded; `after` is called once its line is durable, `beaten` where it was not needed."""

    entry: Entry
    after: Callable[[], None] | None = None
    beaten: Callable[[], None] | None = None


class Recorder:
    """One run: its journal file, the folders it touched, and the entries not yet recorded.

    Use as `with Recorder(opened, "ingest", arguments) as recorder`. The run is opened in the journal with the first
    entry, so a run that changes nothing leaves no trace. `run` is the id of the journal file in use: the newest, where
    others recorded in between.
    """

    def __init__(self, opened: Opened, command: str, arguments: Sequence[str] = ()) -> None:
        self.opened = opened
        self.run = new_run_id(opened.seam, opened.layout.journal)
        self.batch = Batch(opened.seam, opened.layout.root)
        self.counts: dict[str, int] = {}
        self._command, self._arguments = command, tuple(arguments)
        self._journal = JournalWriter(opened.seam, opened.layout.journal, self.run)
        self._waiting: list[_Waiting] = []
        self._settled_at = opened.seam.monotonic()
        self._started = False
        self._interval_s = SECONDS_AT_ONCE

    def __enter__(self) -> "Recorder":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if error is None:
                self.settle()
                if self._started:
                    with recording(self.opened.seam, self.opened.layout):
                        self._write([RunEnded(self.run, self.opened.seam.now(), self.counts)])
            else:
                self._settle_after(error)
        finally:
            self._journal.close()

    def _settle_after(self, error: BaseException) -> None:
        # What is complete is kept even when the run ends early; a second failure must not hide the first.
        try:
            self.settle()
        except Exception as second:  # noqa: BLE001
            error.add_note(f"Recording what was complete failed too: {second}")

    def add(
        self, *entries: Entry, after: Callable[[], None] | None = None, beaten: Callable[[], None] | None = None
    ) -> None:
        """Records an entry, or several that belong together, at once or with the next few.

        after: called once its journal line is durable (`--move`). beaten: called, before `after`, where another process
        stored the very same frame meanwhile; then only is recorded that it was seen here too.
        """
        first, *others = entries
        self._waiting += [_Waiting(first, after, beaten), *map(_Waiting, others)]
        waited_s = self.opened.seam.monotonic() - self._settled_at
        if len(self._waiting) >= FRAMES_AT_ONCE or waited_s > self._interval_s:
            self.settle()

    def settle(self) -> None:
        """Makes all that was added durable: folders, journal, catalogue, in this order; then does what waited."""
        self.batch.settle()
        waiting, self._waiting = self._waiting, []
        if waiting:
            with recording(self.opened.seam, self.opened.layout):
                self._take_turn()
                entries, beaten = self._still_new(waiting)
                if not self._started:
                    now = self.opened.seam.now()
                    start = RunStarted(self.run, self._command, self._arguments, now, __version__, platform.node())
                    entries = [start, *entries]
                self._write(entries)
                self._started = True
            for call in beaten:
                call()
        for one in waiting:
            if one.after is not None:
                one.after()
        self._settled_at = self.opened.seam.monotonic()

    def _take_turn(self) -> None:
        """Sees to it that this run's file is the newest, and that all before it is applied."""
        newest = files(self.opened.seam, self.opened.layout.journal)[-1:]
        if not newest or newest[0] == self._journal.path:
            return
        replay(self.opened.seam, self.opened.layout.journal, self.opened.catalogue)
        if newest[0].name < self._journal.path.name:
            return
        if self._started:
            self._write([RunEnded(self.run, self.opened.seam.now(), {})])
            self._started = False
            self._interval_s = SECONDS_BETWEEN_TURNS
        self._journal.close()
        self.run = new_run_id(self.opened.seam, self.opened.layout.journal)
        self._journal = JournalWriter(self.opened.seam, self.opened.layout.journal, self.run)

    def _still_new(self, waiting: Sequence[_Waiting]) -> tuple[list[Entry], list[Callable[[], None]]]:
        """What is to be recorded, frames that another process was quicker to store being only seen; and who is told."""
        stored = [one.entry.record.sha256 for one in waiting if isinstance(one.entry, Stored)]
        known = self.opened.catalogue.known_many(stored) if stored else frozenset[str]()
        entries: list[Entry] = []
        beaten: list[Callable[[], None]] = []
        for one in waiting:
            entry = one.entry
            if isinstance(entry, Stored) and entry.record.sha256 in known:
                record = entry.record
                entry = Seen(record.sha256, record.source_path, record.modified)
                if one.beaten is not None:
                    beaten.append(one.beaten)
            entries.append(entry)
        return entries, beaten

    def _write(self, entries: Sequence[Entry]) -> None:
        offset = self._journal.append_many([encode(entry) for entry in entries])
        self.opened.catalogue.apply(entries, run=self.run, journal_file=self._journal.path.name, offset=offset)
