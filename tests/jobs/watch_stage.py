"""A watch with a clock that is told how late it is, and somebody who remembers what it tells."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

import pytest

from darklib.facts.errors import DarklibError
from darklib.jobs.results import IngestResult
from darklib.jobs.watch import Asked, watch
from darklib.readers.answers import Look
from darklib.readers.complete import structure_of
from darklib.readers.open import look
from darklib.scenario.trio import trio
from darklib.store.seam import Seam

T = TypeVar("T")
DARK, FLAT, LIGHT = (file.make() for file in trio(20261003))
Step = Callable[[], object]


class Heard:
    """A Teller that remembers."""

    def __init__(self) -> None:
        self.places: list[str] = []
        self.rounds: list[IngestResult] = []
        self.errors: list[tuple[DarklibError, float]] = []
        self.notes: list[str] = []

    def watching(self, places: Sequence[str]) -> None:
        self.places += places

    def took_in(self, result: IngestResult, root: Path) -> None:
        self.rounds.append(result)

    def failed(self, error: DarklibError, again_in_s: float) -> None:
        self.errors.append((error, again_in_s))

    def note(self, text: str) -> None:
        self.notes.append(text)


class Timed(Seam):
    """A clock that goes on by the pauses alone. At each pause the next step is done; after the last one, Ctrl-C."""

    def __init__(self, *steps: Step | None, then: int = 3) -> None:
        self.steps = [*steps, *[None] * then]
        self.now_s = 0.0
        self.pauses: list[float] = []

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float, unless: Callable[[], bool] = lambda: False) -> None:
        self.now_s += seconds
        self.pauses.append(seconds)
        if not self.steps:
            raise KeyboardInterrupt
        step = self.steps.pop(0)
        if step is not None:
            step()


class Here:
    """Stands in for the worker processes."""

    def __init__(self, workers: int = 0, task: str = "") -> None:
        pass

    def __enter__(self) -> Here:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def map(self, paths: Sequence[str]) -> Iterator[Look]:
        yield from map(look, paths)


class Structure(Here):
    """Stands in for those that look at structures."""

    looked = 0

    def map(self, paths: Sequence[str]) -> Iterator[Look]:
        for path in paths:
            Structure.looked += 1
            yield structure_of(path)


def put(path: Path, data: bytes) -> Step:
    def step() -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)

    return step


def watched(card: Path, *steps: Step | None, then: int = 3, **asked: object) -> tuple[Heard, Timed]:
    """Watches the card until the steps are over."""
    heard, seam = Heard(), Timed(*steps, then=then)
    with pytest.raises(KeyboardInterrupt):
        watch(card.parent / "library", Asked((str(card),), **asked), heard, seam=seam)  # type: ignore[arg-type]
    return heard, seam


def stored(heard: Heard) -> list[str]:
    return [Path(frame.source_path).name for one in heard.rounds for frame in one.stored]
