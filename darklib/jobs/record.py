"""Recording a change in the order that survives anything: the files, then the journal, then the catalogue.

1. Files are published and their folders settled (`Batch`). Stop here: the files are whole and unknown; the next run
finds them with the same content and records them. 2. Their lines are appended to this run's journal file, on the disk
when the call returns. Stop here: the next command that opens the library replays them. 3. One catalogue transaction
holds the rows and the new journal position.
"""

import platform
from collections.abc import Callable, Sequence
from types import TracebackType

from darklib import __version__
from darklib.facts.entries import Entry, RunEnded, RunStarted, encode
from darklib.jobs.library import Opened
from darklib.store.durable import Batch
from darklib.store.journal import JournalWriter, new_run_id

FRAMES_AT_ONCE = 50
SECONDS_AT_ONCE = 2.0


class Recorder:
    """One run: its journal file, the folders it touched, and the entries not yet recorded.

    Use as `with Recorder(opened, "ingest", arguments) as recorder`. The run is opened in the journal with the first
    entry, so a run that changes nothing leaves no trace.
    """

    def __init__(self, opened: Opened, command: str, arguments: Sequence[str] = ()) -> None:
        self.opened = opened
        self.run = new_run_id(opened.seam, opened.layout.journal)
        self.batch = Batch(opened.seam, opened.layout.root)
        self.counts: dict[str, int] = {}
        self._command, self._arguments = command, tuple(arguments)
        self._journal = JournalWriter(opened.seam, opened.layout.journal, self.run)
        self._waiting: list[Entry] = []
        self._after: list[Callable[[], None]] = []
        self._settled_at = opened.seam.monotonic()
        self._started = False

    def __enter__(self) -> "Recorder":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if error is None:
                self.settle()
                if self._started:
                    self._record([RunEnded(self.run, self.opened.seam.now(), self.counts)])
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

    def add(self, entry: Entry, *, after: Callable[[], None] | None = None) -> None:
        """Records an entry, at once or with the next few. after: called once its journal line is durable (`--move`)."""
        self._waiting.append(entry)
        if after is not None:
            self._after.append(after)
        if len(self._waiting) >= FRAMES_AT_ONCE or self.opened.seam.monotonic() - self._settled_at > SECONDS_AT_ONCE:
            self.settle()

    def settle(self) -> None:
        """Makes all that was added durable: folders, journal, catalogue, in this order; then does what waited."""
        self.batch.settle()
        entries, self._waiting = self._waiting, []
        after, self._after = self._after, []
        if entries:
            if not self._started:
                now = self.opened.seam.now()
                start = RunStarted(self.run, self._command, self._arguments, now, __version__, platform.node())
                entries = [start, *entries]
            self._record(entries)
        for call in after:
            call()
        self._settled_at = self.opened.seam.monotonic()

    def _record(self, entries: Sequence[Entry]) -> None:
        offset = self._journal.append_many([encode(entry) for entry in entries])
        self._started = True
        self.opened.catalogue.apply(entries, run=self.run, journal_file=self._journal.path.name, offset=offset)
