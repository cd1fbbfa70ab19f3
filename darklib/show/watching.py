"""What a watch tells: a line or two a round for people, one JSON document a round for programs."""

import sys
from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

from darklib.facts.codes import SET_ASIDE
from darklib.facts.errors import DarklibError
from darklib.jobs.ports import Progress
from darklib.jobs.results import IngestResult
from darklib.show import documents, text
from darklib.show.out import Out

KINDS = (("light", "lights"), ("dark", "darks"), ("flat", "flats"), ("bias", "biases"))
INDENT = 4


class ForPeople:
    """Plain lines on standard output, each with its moment; what goes wrong among them, since nobody reads two streams
    of a watch. now: the clock.
    """

    def __init__(self, out: Out, now: Callable[[], datetime]) -> None:
        self._out, self._now = out, now

    def watching(self, places: Sequence[str]) -> None:
        for place in places:
            self._out.paragraph(f"Watching {place}", hang=2)
        if not self._out.quiet:
            self._out.paragraph("A file is taken in once it is whole and keeps still. Ctrl-C ends the watch.")
        self._out.stream.flush()

    def took_in(self, result: IngestResult, root: Path) -> None:
        self._out.paragraph(f"{self._moment()}  {summary(result)}", hang=INDENT)
        for item in result.set_aside:
            self._out.about(item.path, text.sentence(item.reason or SET_ASIDE.get(item.code, item.code)), indent=INDENT)
        for remark in result.remarks:
            self._out.paragraph(text.sentence(remark), indent=INDENT)
        self._out.stream.flush()

    def failed(self, error: DarklibError, again_in_s: float) -> None:
        again = f"Trying again in {again_in_s:.0f} s."
        self._out.paragraph(
            f"{self._moment()}  {' '.join(filter(None, (error.text, error.remedy, again)))}", hang=INDENT
        )
        self._out.stream.flush()

    def note(self, sentence: str) -> None:
        self._out.paragraph(f"{self._moment()}  {sentence}", hang=INDENT)
        self._out.stream.flush()

    def _moment(self) -> str:
        return text.moment(self._now())


class ForPrograms:
    """JSON Lines on standard output: a document of `ingest` for each round, one of `error` for each that failed.

    progress: where sentences go that are no event.
    """

    def __init__(self, progress: Progress) -> None:
        self._progress = progress

    def watching(self, places: Sequence[str]) -> None:
        for place in places:
            self._progress.note(f"Watching {place}")

    def took_in(self, result: IngestResult, root: Path) -> None:
        documents.write(documents.ingest(result, root), sys.stdout)
        sys.stdout.flush()

    def failed(self, error: DarklibError, again_in_s: float) -> None:
        self._progress.note(f"{error.text} Trying again in {again_in_s:.0f} s.")
        documents.write(documents.error(error), sys.stdout)
        sys.stdout.flush()

    def note(self, sentence: str) -> None:
        self._progress.note(sentence)


def summary(result: IngestResult) -> str:
    """`3 frames stored (2 lights, 1 dark), 1 file known already, 1 file set aside`."""
    counts = result.counts
    parts = []
    if counts.stored:
        kinds = Counter(frame.kind.value if frame.kind else "" for frame in result.stored)
        told = [text.some(kinds[one], one, many) for one, many in KINDS if kinds[one]]
        told += [f"{kinds['']:,} undecided"] if kinds[""] else []
        parts.append(f"{text.some(counts.stored, 'frame')} stored ({', '.join(told)})")
    if counts.duplicates:
        parts.append(f"{text.some(counts.duplicates, 'file')} known already")
    if counts.set_aside:
        parts.append(f"{text.some(counts.set_aside, 'file')} set aside")
    if counts.passed_over:
        parts.append(f"{text.some(counts.passed_over, 'file')} passed over")
    if result.removed:
        parts.append(f"{text.some(result.removed, 'file')} removed from the source")
    if result.dry_run:
        parts.append("nothing was changed")
    return ", ".join(parts) or "nothing to take in"
