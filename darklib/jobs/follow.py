"""Following a plan while its frames are shot: the inbox (or other folders) is watched, and what arrives ticked off.

It only looks: nothing is taken in, moved or changed, so that the frames are taken in afterwards as always. Folders are
watched as `jobs/watch` does it: a file counts once it is whole and keeps still.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Protocol

from darklib.facts.errors import DarklibError
from darklib.facts.frame import Frame, FrameRecord
from darklib.facts.plan import Plan
from darklib.facts.resolve import frame_of
from darklib.jobs.interrupt import SafeStop
from darklib.jobs.library import Opened, open_library
from darklib.jobs.results import IngestResult
from darklib.jobs.watch import Asked, Watch
from darklib.planning.following import SoFar, so_far
from darklib.readers.guard import Guard
from darklib.store.names import shown
from darklib.store.seam import Seam
from darklib.store.walk import Found


@dataclass(frozen=True, slots=True)
class Event:
    """Something happened. event: began, frame, settled, not_settled, move_on or done; text: the same in a sentence."""

    at: datetime
    event: str
    text: str
    so_far: SoFar


class Teller(Protocol):
    """Whom the following tells."""

    def watching(self, places: Sequence[str]) -> None:
        """These folders are watched from now on."""

    def happened(self, event: Event) -> None:
        """Something happened to the plan."""

    def failed(self, error: DarklibError, again_in_s: float) -> None:
        """A look failed and will be tried again."""

    def note(self, text: str) -> None:
        """A sentence worth seeing."""


@dataclass(slots=True)
class _Quiet:
    """A watch tells of what it took in; a following takes nothing in."""

    teller: Teller

    def watching(self, places: Sequence[str]) -> None:
        self.teller.watching(places)

    def took_in(self, result: IngestResult, root: Path) -> None:
        """Nothing is ever taken in."""

    def failed(self, error: DarklibError, again_in_s: float) -> None:
        self.teller.failed(error, again_in_s)

    def note(self, text: str) -> None:
        self.teller.note(text)


@dataclass(slots=True)
class Follow(Watch):
    """A watch that counts frames for a plan instead of taking them in. told: whom it tells; last_run: the newest run
    when it began: what the library knew before is no frame of tonight.
    """

    plan: Plan = field(default_factory=lambda: Plan((), 0.0))
    told: Teller | None = None
    last_run: str = ""
    frames: dict[str, Frame] = field(default_factory=dict)
    _before: SoFar | None = None

    def start(self) -> None:
        """Begins, and tells of the plan as it stands."""
        with open_library(self.root, seam=self.seam) as opened:
            self.last_run = max((run.run for run in opened.catalogue.runs(1)), default="")
        self.begin()
        self._tell_what_happened()

    def finished(self) -> bool:
        """Whether all steps are done."""
        return self._before is not None and self._before.now is None

    def follow_on(self) -> None:
        """Looks until all steps are done, or Ctrl-C."""
        # Ctrl-C is only noted, and heeded here, as in a watch.
        with SafeStop() as stop:
            while not (self.finished() or stop.asked):
                self.seam.sleep(self.look(lambda: stop.asked), lambda: stop.asked)

    def _round(self, ready: Sequence[Found]) -> None:
        with open_library(self.root, seam=self.seam) as opened, Guard(self.workers) as guard:
            new = self._looked_at(opened, ready, guard)
        self.frames.update(new)
        for item in ready:
            self.settling.done(item, self.seam.monotonic())
        if new:
            self._tell_what_happened()

    def _looked_at(self, opened: Opened, ready: Sequence[Found], guard: Guard) -> dict[str, Frame]:
        from darklib.kinds.groups import Candidate, decide

        records, candidates = [], []
        for item, look in zip(ready, guard.map([str(item.path) for item in ready]), strict=True):
            name = shown(str(item.path))
            if look.refusal is not None or look.facts is None:
                if look.refusal is not None:
                    self.teller.note(f"{name} does not count: {look.refusal.text}.")
                continue
            if look.sha256 in self.frames or self._known_before(opened, look.sha256):
                continue
            parts = tuple(shown(part) for part in item.relative_parts)
            candidates.append(Candidate(look.facts, look.pixels, parts[:-1], parts[-1], None))
            records.append((look, name))
        found: dict[str, Frame] = {}
        site = opened.settings.site
        for (look, name), decision in zip(records, decide(candidates), strict=True):
            assert look.facts is not None
            if decision.confidence < SURE:
                # A few frames at a time tell little; what the plan asks for decides then.
                decision = replace(decision, kind=None)
            record = FrameRecord(
                look.sha256, look.size, name, True, look.facts, look.pixels, decision, site.timezone, name,
                look.modified, site.longitude_deg,
            )  # fmt: skip
            found[look.sha256] = frame_of(record)
        return found

    def _known_before(self, opened: Opened, sha256: str) -> bool:
        if not self.last_run or not opened.catalogue.known(sha256):
            return False
        return min(source.run for source in opened.catalogue.sources(sha256)) <= self.last_run

    def _tell_what_happened(self) -> None:
        now = so_far(self.plan.steps, self.frames.values())
        before, self._before = self._before, now
        assert self.told is not None
        for event, text in events(before, now):
            self.told.happened(Event(self.seam.now(), event, text, now))


SURE = 0.9
"""A kind less sure than this is left to what the plan asks for."""


def events(before: SoFar | None, now: SoFar) -> list[tuple[str, str]]:
    """What happened between two looks, most of it in one or two sentences."""
    if before is None:
        return [("began", _next_step(now) if now.now is not None else "The plan has no steps.")]
    found: list[tuple[str, str]] = []
    for one, was in zip(now.steps, before.steps, strict=True):
        if one.counted != was.counted:
            text = f"Step {one.number}: {one.counted} of {one.step.frames} frames."
            found.append(("frame", text))
    outside = dict(now.not_counted).get("temperature", 0) - dict(before.not_counted).get("temperature", 0)
    if outside > 0 and now.now is not None:
        step = now.steps[now.now - 1].step
        frames = "1 frame does" if outside == 1 else f"{outside} frames do"
        text = f"{frames} not count: outside {step.low_c:g} to {step.high_c:g} C." if step.low_c is not None else ""
        found.append(("frame", text or f"{frames} not count."))
    elif sum(count for _, count in now.not_counted) > sum(count for _, count in before.not_counted):
        found.append(("frame", "A frame came that the plan does not ask for."))
    if now.now is None and before.now is not None:
        found.append(("done", "All steps are done. Take the frames in with `darklib ingest`."))
    elif now.now != before.now and now.now is not None:
        found.append(("move_on", _next_step(now)))
    elif now.settled and not before.settled:
        assert now.reading_c is not None
        found.append(("settled", f"The reading has settled at {now.reading_c:.1f} C."))
    elif before.settled and not now.settled and now.reading_c is not None:
        found.append(("not_settled", f"The reading moves again: {now.reading_c:.1f} C."))
    return found


def _next_step(now: SoFar) -> str:
    assert now.now is not None
    one = now.steps[now.now - 1]
    step = one.step
    where = ""
    if step.temperature_c is not None and step.how != "any":
        by = "set the cooler to" if step.how == "cooler" else f"{step.how}, at"
        where = f", {by} {step.temperature_c:.1f} C"
        if step.low_c is not None and step.high_c is not None:
            where += f" ({step.low_c:g} to {step.high_c:g} C count)"
    sort = "biases" if step.kind.value == "bias" else f"darks of {step.exposure_s:g} s"
    return f"Step {one.number}: {step.frames - one.counted} {sort}{where}."


def follow(
    root: Path, plan: Plan, teller: Teller, *, paths: Sequence[str] = (), seam: Seam | None = None, workers: int = 0
) -> None:
    """Follows a plan until its last step is done, or Ctrl-C, which comes through as KeyboardInterrupt.

    paths: folders the frames arrive in; none is the library's inbox. Nothing is written anywhere.
    """
    one = Follow(
        root, Asked(tuple(paths)), _Quiet(teller), seam or Seam(), workers=workers, plan=plan, told=teller
    )  # fmt: skip
    one.start()
    one.follow_on()
