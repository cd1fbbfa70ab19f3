"""Taking in a card: every file looked at, decided, stored, read back and recorded.

The order of work: files are walked in the order of names; worker processes hash and measure them; a folder's frames are
decided together once the walk has left it; what neither header nor name nor pixels settle waits for the end of the run,
where the whole card is the context. Each stored frame is a verified copy first, a journal line second, a row third
(`jobs/record`).
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC
from itertools import chain
from pathlib import Path

from darklib import __version__
from darklib.facts.codes import SET_ASIDE
from darklib.facts.entries import Seen, SetAside, SetAsideSettled, Stored
from darklib.facts.errors import DarklibError
from darklib.facts.frame import (
    Frame,
    FrameFacts,
    FrameRecord,
    Kind,
    KindDecision,
    KindFrom,
    PixelFacts,
    Statement,
)
from darklib.facts.resolve import frame_of
from darklib.jobs.asked import Stated
from darklib.jobs.interrupt import SafeStop
from darklib.jobs.library import Opened
from darklib.jobs.ports import Ask, NobodyToAsk, Progress, Silent
from darklib.jobs.record import Recorder
from darklib.jobs.results import Duplicate, IngestCounts, IngestResult, KindGroup, PassedOver, SetAsideFile
from darklib.kinds.groups import Candidate, decide, group_key
from darklib.readers.guard import Guard
from darklib.readers.open import Look
from darklib.store.durable import copy_in, remove_source
from darklib.store.layout import frame_folder, put_aside
from darklib.store.names import shown, stored_name
from darklib.store.walk import Found, Passed, walk

NOTHING_STATED = Stated()


def statements_of(stated: Stated) -> tuple[Statement, ...]:
    """What the user states about a whole ingest, as statements of the journal."""
    named: tuple[tuple[str, str | float | None], ...] = (
        ("kind", stated.kind.value if stated.kind else None),
        ("train", stated.train),
        ("body", stated.body),
        ("temperature_c", stated.temperature_c),
        ("clock_shift_s", stated.clock_shift_s),
    )
    return tuple(Statement(name, value) for name, value in named if value is not None)


@dataclass(slots=True)
class _Waiting:
    """A readable frame that is not stored yet."""

    found: Found
    look: Look
    facts: FrameFacts
    pixels: PixelFacts | None
    decision: KindDecision | None = None
    extra: tuple[Statement, ...] = ()

    def candidate(self, stated: Kind | None) -> Candidate:
        parts = tuple(shown(part) for part in self.found.relative_parts)
        return Candidate(self.facts, self.pixels, parts[:-1], parts[-1], stated)


@dataclass(slots=True)
class _Tally:
    seen: int = 0
    bytes: int = 0
    stored: list[Frame] = field(default_factory=list)
    duplicates: list[Duplicate] = field(default_factory=list)
    set_aside: list[SetAsideFile] = field(default_factory=list)
    passed_over: list[PassedOver] = field(default_factory=list)
    this_run: dict[str, str] = field(default_factory=dict)


def ingest(
    opened: Opened,
    paths: Sequence[str],
    stated: Stated = NOTHING_STATED,
    *,
    in_place: bool = False,
    move: bool = False,
    dry_run: bool = False,
    progress: Progress | None = None,
    ask: Ask | None = None,
    workers: int | None = None,
) -> IngestResult:
    """Takes in files and folders (none named: the inbox). The source is never changed, except by `move` after a
    verified copy. With `dry_run` everything is looked at and decided, and nothing is written.

    Raises DarklibError when the library's disk refuses; a file that cannot be taken is a result, not an error.
    """
    if in_place and move:
        raise DarklibError(
            "in_place_and_move",
            "--in-place leaves the files where they are, --move empties the source; the two exclude each other.",
            remedy="Choose one of them.",
        )
    ends = progress or Silent(), ask or NobodyToAsk()
    return _Ingest(opened, stated, in_place, move, dry_run, *ends, workers).run(paths)


class _Ingest:
    """One run. Methods stand in the order in which a file meets them."""

    def __init__(
        self,
        opened: Opened,
        stated: Stated,
        in_place: bool,
        move: bool,
        dry_run: bool,
        progress: Progress,
        ask: Ask,
        workers: int | None,
    ) -> None:
        self.opened, self.stated = opened, stated
        self.in_place, self.move, self.dry_run = in_place, move, dry_run
        self.progress, self.ask = progress, ask
        self.workers = workers
        self.tally = _Tally()
        self.deferred: list[_Waiting] = []
        self.recorder = Recorder(opened, "ingest", ())
        self.stop = SafeStop()

    def run(self, paths: Sequence[str]) -> IngestResult:
        roots = [Path(path) for path in paths] or [self.opened.layout.inbox]
        with self.stop, self.recorder:
            items = list(walk(self.opened.seam, roots, self.opened.layout.root))
            found = [item for item in items if isinstance(item, Found)]
            self.progress.start(len(found), sum(item.size for item in found))
            for item in items:
                if isinstance(item, Passed):
                    self._pass(item)
            self._look_at_all(found)
            self._decide_the_rest()
            self.recorder.settle()
            self.recorder.counts = {name: int(count) for name, count in self._counts().items()}
        self.progress.finish()
        return self._result()

    # 1. what is no file for us

    def _pass(self, item: Passed) -> None:
        self.tally.seen += 1
        if item.code == "unreadable":
            self.tally.set_aside.append(SetAsideFile(shown(str(item.path)), item.text, item.code))
        else:
            self.tally.passed_over.append(PassedOver(shown(str(item.path)), item.code))

    # 2. looking, a folder at a time

    def _look_at_all(self, found: Sequence[Found]) -> None:
        with Guard(self.workers) as guard:
            folder: Path | None = None
            together: list[_Waiting] = []
            for item, look in zip(found, guard.map([str(item.path) for item in found]), strict=True):
                if self.stop.asked:
                    break
                if folder is not None and item.path.parent != folder:
                    self._decide_folder(together)
                    together = []
                folder = item.path.parent
                waiting = self._sort(item, look)
                if waiting is not None:
                    together.append(waiting)
                self.progress.advance(shown(str(item.path)), item.size)
            self._decide_folder(together)

    def _sort(self, found: Found, look: Look) -> _Waiting | None:
        """What becomes of a file that was looked at: passed over, a duplicate, set aside, or a frame to be stored."""
        tally, catalogue = self.tally, self.opened.catalogue
        tally.seen += 1
        name = shown(str(found.path))
        if look.not_an_image:
            tally.passed_over.append(PassedOver(name, "not_an_image"))
            return None
        if look.sha256 and (look.sha256 in tally.this_run or catalogue.known(look.sha256)):
            tally.duplicates.append(Duplicate(name, look.sha256[:16]))
            if not self.dry_run:
                entry = Seen(look.sha256, name, look.modified)
                self.recorder.add(entry, after=self._emptying(found, look.sha256))
            return None
        if look.refusal is not None or look.facts is None:
            self._set_aside(found, look)
            return None
        tally.bytes += look.size
        return _Waiting(found, look, look.facts, look.pixels)

    def _set_aside(self, found: Found, look: Look) -> None:
        name = shown(str(found.path))
        code = look.refusal.code if look.refusal else "damaged"
        text = look.refusal.text if look.refusal else SET_ASIDE["damaged"]
        known = self.opened.catalogue.set_aside_known(look.sha256) if look.sha256 else None
        if known is not None and known.version == __version__:
            self.tally.passed_over.append(PassedOver(name, "known_set_aside"))
            return
        self.tally.set_aside.append(SetAsideFile(name, text, code))
        if self.dry_run or not look.sha256:
            return
        kept_path = name
        if not self.in_place:
            kept = put_aside(
                self.opened.seam,
                self.opened.layout,
                self.recorder.run,
                found.path,
                stored_name(found.path.parent.name, found.path.name),
                f"{name}\n{text[:1].upper()}{text[1:]}.\nCode: {code}\nSHA-256: {look.sha256}\n",
                look.sha256,
                batch=self.recorder.batch,
            )
            kept_path = self.opened.layout.relative(kept.path)
        entry = SetAside(look.sha256, name, kept_path, code, text, __version__)
        self.recorder.add(entry)

    # 3. deciding what each frame is

    def _decide_folder(self, together: list[_Waiting]) -> None:
        if not together:
            return
        decisions = decide([waiting.candidate(self.stated.kind) for waiting in together])
        for waiting, decision in zip(together, decisions, strict=True):
            waiting.decision = decision
            if decision.kind is not None and decision.source is not KindFrom.PIXELS:
                self._store(waiting)
            else:
                self.deferred.append(waiting)

    def _decide_the_rest(self) -> None:
        candidates = [waiting.candidate(self.stated.kind) for waiting in self.deferred]
        decisions = decide(candidates) if candidates else []
        answers: dict[str, Kind | None] = {}
        groups: dict[str, list[int]] = {}
        for number, decision in enumerate(decisions):
            if decision.kind is None:
                groups.setdefault(group_key(candidates[number]), []).append(number)
        if not self.dry_run and not self.stop.asked:
            for key, numbers in groups.items():
                answers[key] = self.ask.kind_of_group(self._group_to_ask(key, numbers, decisions))
        for number, (waiting, decision) in enumerate(zip(self.deferred, decisions, strict=True)):
            waiting.decision = decision
            answer = answers.get(group_key(candidates[number])) if decision.kind is None else None
            if answer is not None:
                waiting.extra = (Statement("kind", answer.value),)
            self._store(waiting)

    def _group_to_ask(self, key: str, numbers: Sequence[int], decisions: Sequence[KindDecision]) -> KindGroup:
        first = self.deferred[numbers[0]]
        confidence = max(decisions[number].confidence for number in numbers)
        return KindGroup(
            id=key,
            kind=None,
            kind_confidence=confidence,
            count=len(numbers),
            example=shown(str(first.found.path)),
            ask=True,
            exposures_s=_exposures(self.deferred[number].facts for number in numbers),
            hint=decisions[numbers[0]].why,
        )

    # 4. storing

    def _store(self, waiting: _Waiting) -> None:
        look, tally = waiting.look, self.tally
        source = shown(str(waiting.found.path))
        if look.sha256 in tally.this_run:  # the same content twice within one folder
            tally.duplicates.append(Duplicate(source, look.sha256[:16]))
            if not self.dry_run:
                seen = Seen(look.sha256, source, look.modified)
                self.recorder.add(seen, after=self._emptying(waiting.found, look.sha256))
            return
        record = FrameRecord(
            sha256=look.sha256,
            size=look.size,
            path=source,
            in_place=self.in_place,
            read=waiting.facts,
            measured=waiting.pixels,
            decision=waiting.decision or KindDecision(None, None, 0.0),
            zone=self.opened.settings.site.timezone,
            source_path=source,
            modified=look.modified.astimezone(UTC),
        )
        statements = statements_of(self.stated) + waiting.extra
        frame = frame_of(record, statements)
        if not self.in_place:
            folder = self.opened.layout.frames / _folder(frame)
            name = stored_name(waiting.found.path.parent.name, waiting.found.path.name)
            if self.dry_run:
                path = folder / name
            else:
                copied = self._copied(waiting, folder, name)
                if copied is None:
                    return
                path = copied
            record = replace(record, path=self.opened.layout.relative(path))
        tally.this_run[look.sha256] = record.path
        if not self.dry_run:
            if self.opened.catalogue.set_aside_known(look.sha256) is not None:
                self.recorder.add(SetAsideSettled(look.sha256))
            entry = Stored(record, statements)
            self.recorder.add(entry, after=self._emptying(waiting.found, look.sha256))
        tally.stored.append(frame_of(record, statements))

    def _copied(self, waiting: _Waiting, folder: Path, name: str) -> Path | None:
        """The verified copy's path; None where the source changed or vanished meanwhile (it is then set aside as such)."""
        try:
            published = copy_in(
                self.opened.seam,
                waiting.found.path,
                folder,
                name,
                waiting.look.sha256,
                batch=self.recorder.batch,
            )
        except DarklibError as error:
            if error.code not in ("source_changed", "vanished", "changed_while_read"):
                raise
            path = shown(str(waiting.found.path))
            self.tally.set_aside.append(SetAsideFile(path, error.text, "changed_while_read"))
            return None
        return published.path

    def _emptying(self, found: Found, sha256: str) -> Callable[[], None] | None:
        """What takes the source away once the frame is in the journal; None without --move."""
        if not self.move:
            return None

        def take_away() -> None:
            stored = self.tally.this_run.get(sha256)
            if stored is None:
                stored = self.opened.catalogue.frames_by_id([sha256])[0].path
            try:
                remove_source(self.opened.seam, found.path, sha256, self.opened.layout.absolute(stored))
            except DarklibError as error:
                self.progress.note(f"{error.text} {error.remedy}".strip())

        return take_away

    # 5. telling

    def _counts(self) -> dict[str, int]:
        tally = self.tally
        return {
            "seen": tally.seen,
            "stored": len(tally.stored),
            "duplicates": len(tally.duplicates),
            "set_aside": len(tally.set_aside),
            "passed_over": len(tally.passed_over),
            "undecided": sum(frame.kind is None for frame in tally.stored),
            "bytes": tally.bytes,
        }

    def _result(self) -> IngestResult:
        tally = self.tally
        stored = tally.stored
        if not self.dry_run and stored:
            by_sha = {frame.sha256: frame for frame in self._recorded(frame.sha256 for frame in stored)}
            stored = [by_sha.get(frame.sha256, frame) for frame in stored]
        return IngestResult(
            run=None if self.dry_run else self.recorder.run,
            dry_run=self.dry_run,
            counts=IngestCounts(**self._counts()),
            stored=tuple(stored),
            duplicates=tuple(tally.duplicates),
            set_aside=tuple(tally.set_aside),
            passed_over=tuple(tally.passed_over),
            groups=tuple(_groups(stored)),
        )

    def _recorded(self, sha256s: Iterable[str]) -> Iterator[Frame]:
        wanted = list(sha256s)
        return chain.from_iterable(
            self.opened.catalogue.frames_by_id(wanted[start : start + 500]) for start in range(0, len(wanted), 500)
        )


def _exposures(facts: Iterable[FrameFacts]) -> tuple[float, ...]:
    return tuple(sorted({item.exposure_s for item in facts if item.exposure_s is not None}))


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


def _groups(frames: Iterable[Frame]) -> Iterator[KindGroup]:
    """Stored frames by series, in the order of their first frame; undecided ones are to be asked about."""
    together: dict[str, list[Frame]] = {}
    for frame in frames:
        together.setdefault(frame.series or frame.id, []).append(frame)
    for key, members in together.items():
        first = members[0]
        confidence = min(frame.kind_confidence for frame in members)
        path = first.path if first.in_place else first.source_path
        exposures = tuple(sorted({frame.exposure_s for frame in members if frame.exposure_s is not None}))
        yield KindGroup(key, first.kind, confidence, len(members), path, first.kind is None, exposures)
