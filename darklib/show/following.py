"""What following a plan tells: a line each time something happened, or one JSON document."""

import sys
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from darklib.facts.errors import DarklibError
from darklib.jobs.ports import Progress
from darklib.jobs.results import GapsResult
from darklib.planning.following import SoFar
from darklib.show import documents, plan_screen, text
from darklib.show.out import Out

if TYPE_CHECKING:
    from darklib.jobs.follow import Event

INDENT = 4


class ForPeople:
    """The plan first, with its cautions, then a line an event, each with its moment. now: the clock."""

    def __init__(self, out: Out, now: Callable[[], datetime], result: GapsResult) -> None:
        self._out, self._now, self._result = out, now, result

    def watching(self, places: Sequence[str]) -> None:
        if self._result.plan is not None:
            plan_screen.plan(self._out, self._result.plan)
        for caution in self._result.cautions:
            self._out.paragraph(f"- {caution}", indent=2, hang=4)
        for place in places:
            self._out.paragraph(f"Watching {place}", hang=2)
        if not self._out.quiet:
            self._out.paragraph(
                "Nothing is taken in or changed, only looked at: run `darklib ingest` afterwards. Ctrl-C ends it."
            )
        self._out.stream.flush()

    def happened(self, event: "Event") -> None:
        told = f"{text.moment(event.at)}  {event.text}"
        if event.event == "frame":
            told += reading(event.so_far)
        self._out.paragraph(told, hang=INDENT)
        self._out.stream.flush()

    def failed(self, error: DarklibError, again_in_s: float) -> None:
        told = f"{error.text} Trying again in {again_in_s:.0f} s."
        self._out.paragraph(f"{text.moment(self._now())}  {told}", hang=INDENT)
        self._out.stream.flush()

    def note(self, sentence: str) -> None:
        self._out.paragraph(f"{text.moment(self._now())}  {sentence}", hang=INDENT)
        self._out.stream.flush()


class ForPrograms:
    """JSON Lines on standard output: a document of `gaps-follow` an event, one of `error` for each look that failed."""

    def __init__(self, progress: Progress) -> None:
        self._progress = progress

    def watching(self, places: Sequence[str]) -> None:
        for place in places:
            self._progress.note(f"Watching {place}")

    def happened(self, event: "Event") -> None:
        documents.write(documents.gaps_follow(event), sys.stdout)
        sys.stdout.flush()

    def failed(self, error: DarklibError, again_in_s: float) -> None:
        self._progress.note(f"{error.text} Trying again in {again_in_s:.0f} s.")
        documents.write(documents.error(error), sys.stdout)
        sys.stdout.flush()

    def note(self, sentence: str) -> None:
        self._progress.note(sentence)


def reading(now: SoFar) -> str:
    """What the camera's reading does, in a few words; empty where nothing is known or none matters."""
    if now.reading_c is None or now.inside is None:
        return ""
    parts = [f" {now.reading_c:.1f} C"]
    if now.slope_c_per_minute is not None:
        parts.append(f"{now.slope_c_per_minute:+.2f} C a minute")
    parts.append("settled" if now.settled else "inside, not settled" if now.inside else "outside")
    return ", ".join(parts) + "."
