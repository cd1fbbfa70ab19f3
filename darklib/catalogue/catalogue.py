"""The catalogue as the rest of the house sees it. Open it with `darklib.catalogue.schema.open_catalogue`."""

from collections.abc import Collection, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from types import TracebackType

from sqlalchemy import Connection, insert, select, update

from darklib.catalogue import address, contents, finding, findings, frames, inferences, lists
from darklib.catalogue.apply import Applier
from darklib.catalogue.columns import clean
from darklib.catalogue.contents import Rows
from darklib.catalogue.finding import Candidate
from darklib.catalogue.findings import Finding, Inference
from darklib.catalogue.frames import FrameQuery, Page, SetAsideRow, SourceRow, StatementRow, StoredRow
from darklib.catalogue.inferences import HotOutcome, HotRow
from darklib.catalogue.lists import BodyRow, CopyRow, RunRow, TrainRow
from darklib.catalogue.tables import RUNS, Base
from darklib.catalogue.transaction import Transactions
from darklib.facts.entries import Entry
from darklib.facts.frame import Frame, FrameRecord, Kind
from darklib.facts.match import BodyChange, Series, TrainChange, Wanted

__all__ = [
    "BodyRow", "Candidate", "Catalogue", "CopyRow", "Finding", "FrameQuery", "Inference", "Page", "RunRow",
    "SetAsideRow", "SourceRow", "StatementRow", "StoredRow", "TrainRow",
]  # fmt: skip


class Catalogue:
    """One open catalogue, for one thread. Close it, or use it as a context.

    Every query sees one state of the catalogue; several see the same one inside `reading` or `writing`. Errors a user
    can act on are DarklibError: `catalogue_busy`, `catalogue_damaged`, `disk_full`, `read_only`, `disk_error`.
    """

    def __init__(self, path: Path | None) -> None:
        self.path = path or Path("temporary catalogue")
        self._engine = address.engine_of(path)
        with address.in_words(self.path):
            self._transactions = Transactions(self._engine.connect(), self.path)

    @classmethod
    def temporary(cls) -> "Catalogue":
        """An empty catalogue that is nowhere in the library and gone when it is closed."""
        made = cls(None)
        try:
            with made._transactions.writing() as connection:
                Base.metadata.create_all(connection)
        except BaseException:
            made.close()
            raise
        return made

    def close(self) -> None:
        """Lets the file go. What was not committed is rolled back."""
        self._transactions.connection.close()
        self._engine.dispose()

    def __enter__(self) -> "Catalogue":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def writing(self) -> Iterator[None]:
        """A writing transaction: saved whole at its end, rolled back whatever ends it early. Nested: a savepoint."""
        with self._transactions.writing():
            yield

    @contextmanager
    def reading(self) -> Iterator[None]:
        """One state of the catalogue for all queries inside. Nothing can be written in it."""
        with self._transactions.reading():
            yield

    @property
    def _read(self) -> AbstractContextManager[Connection]:
        return self._transactions.reading()

    # what changes it

    def apply(self, entries: Iterable[Entry], *, run: str, journal_file: str, offset: int) -> None:
        """Applies entries of one run's journal file and notes that it is applied up to `offset`, in one transaction.

        Does nothing where the file is applied that far already; an entry that was applied before changes nothing.
        """
        with self._transactions.writing() as connection:
            name = clean(journal_file)
            done = connection.scalar(select(RUNS.c.journal_offset).where(RUNS.c.journal_file == name))
            if done is None:
                connection.execute(insert(RUNS).values(id=run, journal_file=name, journal_offset=0))
            elif done >= offset:
                return
            applier = Applier(connection, run)
            applier.apply(entries)
            applier.finish()
            connection.execute(update(RUNS).where(RUNS.c.journal_file == name).values(journal_offset=offset))

    def positions(self) -> dict[str, int]:
        """How far each journal file is applied: name of the file to byte offset."""
        with self._read as connection:
            rows = connection.execute(select(RUNS.c.journal_file, RUNS.c.journal_offset))
            return {row[0]: row[1] for row in rows}

    # one frame

    def candidates(self, *texts: str) -> list[Candidate]:
        """What the spellings of one text may mean; see `finding.candidates`."""
        with self._read as connection:
            return finding.candidates(connection, texts)

    def find(self, *texts: str) -> list[str]:
        """SHA-256s of what a text (in several spellings) means: a frame, or all frames of a series; [] for nothing.

        Raises DarklibError `ambiguous`.
        """
        with self._read as connection:
            return finding.find(connection, texts)

    def frames_by_id(self, names: Iterable[str]) -> list[Frame]:
        """Frames by SHA-256 or id, in the order given; unknown ones are left out."""
        with self._read as connection:
            return frames.frames_by_id(connection, names)

    def record(self, sha256: str) -> FrameRecord:
        """All that is kept of a frame, with its newest measurement. DarklibError `no_such_frame`."""
        with self._read as connection:
            return frames.record(connection, sha256)

    def statements(self, sha256: str) -> list[StatementRow]:
        """Everything the user stated of a frame, oldest first, undone things included."""
        with self._read as connection:
            return frames.statements(connection, sha256)

    def statement_frames(self, statement: str) -> list[str]:
        """SHA-256s of the frames for which a statement holds."""
        with self._read as connection:
            return frames.statement_frames(connection, statement)

    def sources(self, sha256: str) -> list[SourceRow]:
        """Every place where a frame's content was seen."""
        with self._read as connection:
            return frames.sources(connection, sha256)

    def known(self, sha256: str) -> bool:
        """Whether a content is a frame of the library."""
        return bool(self.known_many([sha256]))

    def known_many(self, sha256s: Iterable[str]) -> set[str]:
        """Which of the contents are frames of the library."""
        with self._read as connection:
            return frames.known_many(connection, sha256s)

    def set_aside_known(self, sha256: str) -> SetAsideRow | None:
        """The file of that content, if it is set aside."""
        with self._read as connection:
            return frames.set_aside_known(connection, sha256)

    # lists

    def frames(self, query: FrameQuery) -> Page:
        """A page of frames, by time, then id. DarklibError: unknown_body, unknown_train, no_such_frame (`after`)."""
        with self._read as connection:
            return frames.frames(connection, query)

    def series(
        self,
        kind: Kind | None = None,
        night_low: str | None = None,
        night_high: str | None = None,
        target: str | None = None,
        ids: Collection[str] | None = None,
    ) -> list[Series]:
        """Series by time, then id. Those of none but retired frames only where asked for by id."""
        with self._read as connection:
            return lists.series(connection, kind, night_low, night_high, target, ids)

    def wanted(self, ask: Wanted, made: dict[int, Series] | None = None) -> list[Series]:
        """Series that may serve, nearest in time first. made: those of earlier questions, while nothing is written."""
        with self._read as connection:
            return lists.wanted(connection, ask, made)

    def light_series(self, train: str | None, body_id: str | None) -> list[Series]:
        """Series of lights through a train with a body, by time. None: any."""
        with self._read as connection:
            return lists.light_series(connection, train, body_id)

    def series_frames(self, ids: Collection[str]) -> dict[str, tuple[Frame, ...]]:
        """Frames of each series that are not retired, by time, then id."""
        with self._read as connection:
            return lists.series_frames(connection, ids)

    def train_changes(self, fingerprint: str) -> list[TrainChange]:
        """When a train was taken apart, rotated or cleaned, oldest first."""
        with self._read as connection:
            return lists.train_changes(connection, fingerprint)

    def body_changes(self, body_id: str) -> list[BodyChange]:
        """What changed a body (or one joined with it), oldest first."""
        with self._read as connection:
            return lists.body_changes(connection, body_id)

    def bodies(self) -> list[BodyRow]:
        """Every body that is joined to no other, sorted by its first frame, then id."""
        with self._read as connection:
            return lists.bodies(connection)

    def trains(self) -> list[TrainRow]:
        """Every train with lights or flats or a recorded change, sorted by its first night."""
        with self._read as connection:
            return lists.trains(connection)

    def last_light_night(self) -> str | None:
        """The newest night with lights."""
        with self._read as connection:
            return lists.last_light_night(connection)

    def counts(self) -> dict[str, int]:
        """Keys frames, light, dark, bias, flat, undecided, retired, bytes, set_aside."""
        with self._read as connection:
            return lists.counts(connection)

    def runs(self, limit: int = 20) -> list[RunRow]:
        """The newest runs that changed something, newest first."""
        with self._read as connection:
            return lists.runs(connection, limit)

    def copies_checked(self) -> list[CopyRow]:
        """Second copies that were found whole, the newest check first."""
        with self._read as connection:
            return lists.copies_checked(connection)

    def frames_in_place(self) -> int:
        """How many frames are catalogued where they lie."""
        with self._read as connection:
            return lists.frames_in_place(connection)

    def set_aside(self) -> list[SetAsideRow]:
        """Every file that is set aside."""
        with self._read as connection:
            return frames.set_aside(connection)

    def everything(self, after: int = 0) -> Iterator[StoredRow]:
        """Every frame by row number, from the one after `after` on; no transaction is open while the caller works."""
        while True:
            with self._read as connection:
                rows = frames.everything(connection, after, 5000)
            if not rows:
                return
            yield from rows
            after = rows[-1].pk

    # what is derived

    def findings(self, what: str, subjects: Collection[str] | None = None) -> list[Finding]:
        """What many frames say of one thing, of one sort; see `findings.Finding`."""
        with self._read as connection:
            return findings.findings(connection, what, subjects)

    def store_findings(self, made: Iterable[Finding]) -> None:
        """Keeps findings in the place of earlier ones about the same. No journal has them: a rebuild loses them."""
        with self._transactions.writing() as connection:
            findings.store_findings(connection, made)

    def drop_findings(self, what: str, subjects: Collection[str] | None = None) -> None:
        """Forgets findings of one sort."""
        with self._transactions.writing() as connection:
            findings.drop_findings(connection, what, subjects)

    def inferences(self, what: str | None = None, sha256s: Collection[str] | None = None) -> list[Inference]:
        """What other frames say of single frames; see `findings.Inference`."""
        with self._read as connection:
            return findings.inferences(connection, what, sha256s)

    def store_inferences(self, made: Iterable[Inference]) -> None:
        """Keeps inferences in the place of earlier ones about the same. Not journalled either."""
        with self._transactions.writing() as connection:
            findings.store_inferences(connection, made)

    def drop_inferences(self, what: str, sha256s: Collection[str] | None = None) -> None:
        """Forgets inferences of one sort."""
        with self._transactions.writing() as connection:
            findings.drop_inferences(connection, what, sha256s)

    def hot_rows(self, bodies: Collection[str] | None = None) -> list[HotRow]:
        """Every dark and light of a known body, by time; see `inferences.hot_rows`."""
        with self._read as connection:
            return inferences.hot_rows(connection, bodies)

    def put_inferred(
        self, outcomes: Iterable[HotOutcome], made: Iterable[Inference], found: Iterable[Finding] = ()
    ) -> None:
        """Puts what was inferred into the frames' columns and keeps inferences and findings, in one transaction."""
        with self._transactions.writing() as connection:
            inferences.put(connection, outcomes, made)
            findings.store_findings(connection, found)

    # all of it

    def contents(self) -> dict[str, Rows]:
        """Everything in it, to be compared with another catalogue; see `contents.compared`."""
        with self._read as connection:
            return contents.contents(connection)

    def integrity(self) -> str:
        """The word ok, or what the database's own checks find."""
        with self._read as connection:
            return address.integrity(connection)
