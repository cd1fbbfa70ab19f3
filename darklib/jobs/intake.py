"""One run of taking files in, a file's way through it from top to bottom.

Files are looked at by worker processes in the order of the walk; a folder's frames are decided together once the walk
has left it; what neither header nor name nor statement settles waits for the end of the run, where the whole card is
the context. Each stored frame is a verified copy first, a journal line second, a row third (`jobs/record`).
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import nullcontext
from dataclasses import asdict, replace
from datetime import UTC
from functools import partial
from itertools import chain
from pathlib import Path

from darklib import __version__
from darklib.facts.codes import SET_ASIDE
from darklib.facts.entries import Seen, SetAside, SetAsideSettled, Stored
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Frame, FrameRecord, Kind, KindDecision, KindFrom, Statement
from darklib.facts.resolve import frame_of
from darklib.jobs.asked import Stated
from darklib.jobs.bringing_back import bring_back
from darklib.jobs.emptying import take_away
from darklib.jobs.interrupt import SafeStop
from darklib.jobs.kind_groups import exposures_of, groups_of
from darklib.jobs.library import Opened
from darklib.jobs.placing import CopiedIn, Placing, Work
from darklib.jobs.ports import Ask, Progress
from darklib.jobs.record import Recorder
from darklib.jobs.results import Duplicate, IngestResult, KindGroup, PassedOver, SetAsideFile
from darklib.jobs.stated_for_all import new_camera, statements_of
from darklib.jobs.tally import Tally
from darklib.jobs.underway import Copying, Waiting, identified, to_wait
from darklib.jobs.unstored_nights import in_their_nights
from darklib.kinds.groups import decide, group_key
from darklib.readers.guard import Guard
from darklib.readers.open import Look
from darklib.store.durable import sweep
from darklib.store.layout import put_aside
from darklib.store.names import shown, stored_name
from darklib.store.walk import Found, Passed

COPIERS = 2
"""Threads that copy while others look: one waits for the disk while the other reads its copy back."""

COPIES_ON_THEIR_WAY = 16
RESTLESS = frozenset(("source_changed", "vanished"))
"""Errors of copying that concern this one file, which did not keep still; the run goes on."""

DECIDED_AT_ONCE = 32
"""Frames of one folder decided together; those that only pixels could settle wait for the whole card anyway."""


class Intake:
    """Methods stand in the order in which a file meets them.

    sources: for files that are not where they came from, what to call their source. again: files once set aside are
    tried again. guard: workers that look at files and stay for the next run; else `workers` of this run's own.
    """

    def __init__(
        self,
        opened: Opened,
        command: str,
        placing: Placing,
        stated: Stated,
        *,
        move: bool = False,
        dry_run: bool = False,
        again: bool = False,
        sources: Mapping[Path, str] | None = None,
        progress: Progress,
        ask: Ask,
        guard: Guard | None = None,
        workers: int = 0,
        copiers: int = COPIERS,
    ) -> None:
        self.opened, self.placing, self.stated = opened, placing, stated
        self.move, self.dry_run, self.again = move, dry_run, again
        self.progress, self.ask = progress, ask
        self._guard = nullcontext(guard) if guard is not None else Guard(workers)
        self.recorder = Recorder(opened, command)
        self._work = Work(opened, self.recorder.batch, dry_run)
        self._sources = dict(sources or {})
        self._tally = Tally()
        self._deferred: list[Waiting] = []
        self._pool = ThreadPoolExecutor(copiers, "darklib copier") if copiers else None
        self._copying: deque[Copying] = deque()
        self._stop = SafeStop()
        self._new_camera = new_camera(opened, stated.body)

    def run(self, items: Iterable[Found | Passed]) -> IngestResult:
        """Takes in what was found. KeyboardInterrupt comes through after everything complete is recorded."""
        items = list(items)
        found = [item for item in items if isinstance(item, Found)]
        try:
            self._take_in(items, found)
        finally:
            if self._pool is not None:
                self._pool.shutdown(cancel_futures=True)
        self.progress.finish()
        return self._result()

    def _take_in(self, items: Sequence[Found | Passed], found: Sequence[Found]) -> None:
        with self._stop, self.recorder:
            self.progress.start(len(found), sum(item.size for item in found))
            for item in items:
                if isinstance(item, Passed):
                    self._pass(item)
            self._look_at_all(found)
            self._decide_the_rest()
            self._record_copies(all_of_them=True)
            self.recorder.settle()
            self.recorder.counts = asdict(self._tally.counts())
            if not self.dry_run:
                self._sweep()

    # 1. what is no file for us

    def _pass(self, item: Passed) -> None:
        self._tally.seen += 1
        if item.code in ("unreadable", "folder_unreadable"):
            self._tally.set_aside.append(SetAsideFile(shown(str(item.path)), item.text, item.code))
        else:
            self._tally.passed_over.append(PassedOver(shown(str(item.path)), item.code))

    # 2. looking, a folder at a time

    def _look_at_all(self, found: Sequence[Found]) -> None:
        folder: Path | None = None
        together: list[Waiting] = []
        with self._guard as guard:
            for item, look in zip(found, guard.map([str(item.path) for item in found]), strict=True):
                if self._stop.asked:
                    break
                if item.path.parent != folder or len(together) >= DECIDED_AT_ONCE:
                    self._decide_folder(together)
                    folder, together = item.path.parent, []
                waiting = self._sort(item, identified(self.opened.seam, item, look))
                if waiting is not None:
                    together.append(waiting)
                self.progress.advance(shown(str(item.path)), item.size)
            self._decide_folder(together)

    def _sort(self, found: Found, look: Look) -> Waiting | None:
        """What becomes of a file that was looked at: passed over, a duplicate, set aside, or a frame to be stored."""
        tally = self._tally
        tally.seen += 1
        if look.not_an_image:
            tally.passed_over.append(PassedOver(self._source(found), "not_an_image"))
        elif look.sha256 and (look.sha256 in tally.claimed or self.opened.catalogue.known(look.sha256)):
            self._duplicate(found, look)
        elif look.refusal is not None or look.facts is None:
            self._set_aside(found, look)
        else:
            return to_wait(self.opened, found, look, look.facts, dry_run=self.dry_run)
        return None

    def _duplicate(self, found: Found, look: Look) -> None:
        source = self._source(found)
        if look.sha256 in self._tally.claimed:
            self._record_copies(all_of_them=True)  # its frame first: the journal tells things in their order
        self._tally.duplicates.append(Duplicate(source, look.sha256[:16]))
        if not self.dry_run:
            self._bring_back(found, look)
            seen = Seen(look.sha256, source, look.modified.astimezone(UTC))
            # A run that was killed may have stored the frame and not said that it is set aside no more.
            self.recorder.add(seen, *self._settled(look), after=self._emptying(found, look.sha256))

    def _bring_back(self, found: Found, look: Look) -> None:
        if not isinstance(self.placing, CopiedIn) or look.sha256 in self._tally.this_run:
            return
        try:
            self._tally.brought_back += bring_back(self.opened, found.path, look.sha256, self.recorder.batch)
        except DarklibError as error:
            if error.code not in RESTLESS:
                raise

    def _set_aside(self, found: Found, look: Look) -> None:
        name = self._source(found)
        code = look.refusal.code if look.refusal else "damaged"
        text = look.refusal.text if look.refusal else SET_ASIDE["damaged"]
        known = self.opened.catalogue.set_aside_known(look.sha256) if look.sha256 else None
        if known is not None and known.version == __version__ and not self.again:
            self._tally.passed_over.append(PassedOver(name, "known_set_aside"))
            return
        if not self.dry_run and look.sha256 and (known is None or known.version != __version__):
            # Refused by an older version and by this one: said anew, so that it is not tried at every ingest.
            try:
                kept_path = self._kept(found, look, code, text) if known is None else known.kept_path
            except DarklibError as error:
                if error.code not in RESTLESS:
                    raise
                code, text = "changed_while_read", error.text
            else:
                self.recorder.add(SetAside(look.sha256, name, kept_path, code, text, __version__))
        self._tally.set_aside.append(SetAsideFile(name, text, code))

    def _kept(self, found: Found, look: Look, code: str, text: str) -> str:
        """Keeps a copy of what is set aside; returns where, as the catalogue writes it."""
        name = self._source(found)
        if not self.placing.keeps_what_is_set_aside:
            return name
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
        return self.opened.layout.relative(kept.path)

    # 3. deciding what each frame is

    def _decide_folder(self, together: list[Waiting]) -> None:
        if not together:
            return
        decisions = decide([waiting.candidate(self.stated.kind) for waiting in together])
        for waiting, decision in zip(together, decisions, strict=True):
            waiting.decision = decision
            if decision.kind is not None and decision.source is not KindFrom.PIXELS:
                self._store(waiting)
            else:
                self._deferred.append(waiting)

    def _decide_the_rest(self) -> None:
        if self._stop.asked:
            # Half a card is no context, and its frames would be copied long after Ctrl-C: the next run takes them in.
            return
        candidates = [waiting.candidate(self.stated.kind) for waiting in self._deferred]
        decisions = decide(candidates) if candidates else []
        keys = [group_key(candidate) for candidate in candidates]
        groups: dict[str, list[int]] = {}
        for number, decision in enumerate(decisions):
            if decision.kind is None:
                groups.setdefault(keys[number], []).append(number)
        answers: dict[str, Kind | None] = {}
        if not self.dry_run:
            for key, numbers in groups.items():
                answers[key] = self.ask.kind_of_group(self._to_ask(key, numbers, decisions))
        for waiting, decision, key in zip(self._deferred, decisions, keys, strict=True):
            waiting.decision = decision
            answer = answers.get(key) if decision.kind is None else None
            if answer is not None:
                waiting.extra = (Statement("kind", answer.value),)
            self._store(waiting)

    def _to_ask(self, key: str, numbers: Sequence[int], decisions: Sequence[KindDecision]) -> KindGroup:
        return KindGroup(
            id=key,
            kind=None,
            kind_confidence=max(decisions[number].confidence for number in numbers),
            count=len(numbers),
            example=self._source(self._deferred[numbers[0]].found),
            ask=True,
            exposures_s=exposures_of(self._deferred[number].facts.exposure_s for number in numbers),
            hint=decisions[numbers[0]].why,
        )

    # 4. storing

    def _store(self, waiting: Waiting) -> None:
        look, found = waiting.look, waiting.found
        if look.sha256 in self._tally.claimed:  # the same content twice within one folder
            self._duplicate(found, look)
            return
        record = FrameRecord(
            sha256=look.sha256,
            size=look.size,
            path=self._source(found),
            in_place=self.placing.in_place,
            read=waiting.facts,
            measured=waiting.pixels,
            decision=waiting.decision or KindDecision(None, None, 0.0),
            zone=self.opened.settings.site.timezone,
            source_path=self._source(found),
            modified=look.modified.astimezone(UTC),
            longitude_deg=self.opened.settings.site.longitude_deg,
        )
        statements = statements_of(self.stated) + waiting.extra
        self._tally.claimed.add(look.sha256)
        path: Future[Path]
        frame = frame_of(record, statements)
        if self._pool is None:
            path = Future()
            try:
                path.set_result(self.placing.place(self._work, found, look.sha256, frame))
            except DarklibError as error:
                path.set_exception(error)
        else:
            path = self._pool.submit(self.placing.place, self._work, found, look.sha256, frame)
        self._copying.append(Copying(waiting, record, statements, path))
        self._record_copies()

    def _record_copies(self, *, all_of_them: bool = False) -> None:
        """Records the frames whose bytes are in place, in order; waits where too many are on their way."""
        while self._copying and (
            all_of_them or self._copying[0].path.done() or len(self._copying) > COPIES_ON_THEIR_WAY
        ):
            self._record(self._copying.popleft())

    def _record(self, copying: Copying) -> None:
        found, look = copying.waiting.found, copying.waiting.look
        try:
            path = copying.path.result()
        except DarklibError as error:
            self._tally.claimed.discard(look.sha256)
            if error.code not in RESTLESS:
                raise
            # Not kept as a copy: nobody knows which of its contents would be the right one.
            self._tally.set_aside.append(SetAsideFile(self._source(found), error.text, "changed_while_read"))
            return
        self._tally.folders.add(path.parent)
        record = replace(copying.record, path=self.opened.layout.relative(path))
        self._tally.this_run[look.sha256] = record.path
        self._tally.bytes += look.size
        frame = frame_of(record, copying.statements)
        self._tally.stored.append(frame)
        if self.dry_run:
            return
        self.recorder.add(
            Stored(record, copying.statements),
            *self._settled(look),
            after=self._emptying(found, look.sha256),
            beaten=partial(self._beaten, found, look, frame, path),
        )

    def _settled(self, look: Look) -> list[SetAsideSettled]:
        known = self.opened.catalogue.set_aside_known(look.sha256)
        return [] if known is None else [SetAsideSettled(look.sha256)]

    def _beaten(self, found: Found, look: Look, frame: Frame, path: Path) -> None:
        """Another process took in the very same frame while this one copied it: a duplicate after all."""
        tally = self._tally
        tally.stored.remove(frame)
        tally.bytes -= look.size
        del tally.this_run[look.sha256]
        tally.duplicates.append(Duplicate(self._source(found), look.sha256[:16]))
        if not isinstance(self.placing, CopiedIn):
            return
        first = self.opened.catalogue.frames_by_id([look.sha256])[0].path
        if first != frame.path:
            self._take_away(path, look.sha256, first, verified=False)

    def _sweep(self) -> None:
        """Takes away old temporary files that a killed run left in the folders of this one."""
        if not isinstance(self.placing, CopiedIn):
            return
        for folder in sorted(self._tally.folders):
            for gone in sweep(self.opened.seam, folder):
                self.progress.note(f"An unfinished copy of an interrupted run was removed: {shown(str(gone))}.")

    def _emptying(self, found: Found, sha256: str) -> Callable[[], None] | None:
        """What takes the source away once the frame is in the journal; None without --move."""
        if not self.move:
            return None

        def empty() -> None:
            stored = self._tally.this_run.get(sha256)
            verified = stored is not None
            if stored is None:
                stored = self.opened.catalogue.frames_by_id([sha256])[0].path
            self._tally.removed += self._take_away(found.path, sha256, stored, verified=verified)

        return empty

    def _take_away(self, path: Path, sha256: str, stored: str, *, verified: bool) -> bool:
        trouble = take_away(self.opened, path, sha256, stored, verified=verified)
        if trouble:
            self.progress.note(trouble)
        return trouble is None

    # 5. telling

    def _source(self, found: Found) -> str:
        return self._sources.get(found.path) or shown(str(found.path))

    def _result(self) -> IngestResult:
        tally = self._tally
        stored = tally.stored
        if not self.dry_run and stored:
            by_sha = {frame.sha256: frame for frame in self._recorded([frame.sha256 for frame in stored])}
            stored = [by_sha.get(frame.sha256, frame) for frame in stored]
        elif stored:
            stored = in_their_nights(stored, self.opened.settings.site)
        return IngestResult(
            run=None if self.dry_run else self.recorder.run,
            dry_run=self.dry_run,
            counts=tally.counts(),
            stored=tuple(stored),
            duplicates=tuple(tally.duplicates),
            set_aside=tuple(tally.set_aside),
            passed_over=tuple(tally.passed_over),
            groups=tuple(groups_of(stored)),
            remarks=tuple(tally.remarks(self._new_camera, stated=bool(statements_of(self.stated)))),
            removed=tally.removed,
        )

    def _recorded(self, sha256s: Sequence[str]) -> Iterator[Frame]:
        pieces = (sha256s[start : start + 500] for start in range(0, len(sha256s), 500))
        return chain.from_iterable(self.opened.catalogue.frames_by_id(piece) for piece in pieces)
