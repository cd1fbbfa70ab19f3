"""A catalogue made anew from the journal is the catalogue that grew command by command, whatever was done and in
whatever order two processes took turns.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from replay_check import assert_replay_is_equal
from small_library import (
    FIRST_CARD,
    NOW,
    REFUSED_AT_FIRST,
    FixedSeam,
    InProcessGuard,
    fits,
    put,
    set_stage,
    sha,
)

from darklib.catalogue.catalogue import FrameQuery
from darklib.facts.errors import DarklibError
from darklib.jobs import audit, correct
from darklib.jobs.asked import Stated
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened, open_library
from darklib.jobs.ports import Silent

pytestmark = pytest.mark.usefixtures("in_process")

# Each field that can be amended, with values that move a frame between series, bodies and trains.
VALUES: dict[str, Sequence[str | float | None]] = {
    "kind": ["dark", "flat", "light", "bias", None],
    "exposure_s": [300.0, 300.004, 2.0, None],
    "temperature_c": [-10.0, -9.9, 4.0, None],
    "filter": ["L", "Ha", None],
    "target": ["NGC 7331", "M 31", None],
    "train": ["Linden 80", "Old Newtonian", None],
    "body": ["Old box", "0042", None],
    "taken_at": ["2026-10-04T21:00:00", None],
    "clock_shift_s": [3600.0, None],
}


class TickingSeam(FixedSeam):
    """A clock that goes on by a minute each time it is looked at."""

    def __init__(self, start: datetime = NOW) -> None:
        self.moment = start

    def now(self) -> datetime:
        self.moment += timedelta(minutes=1)
        return self.moment


def card_of(dice: random.Random, number: int) -> dict[str, bytes]:
    """A few frames whose exposures and focal lengths differ by less than what tells series and trains apart."""
    files = {}
    for place in range(dice.randint(1, 4)):
        kind = dice.choice(["Light", "Dark", "Flat", "Bias", None])
        data = fits(
            kind,
            dice.randint(0, 40),
            exposure_s=dice.choice([300.0, 300.003, 299.998]),
            focal_mm=dice.choice([478.0, 480.0, 483.0]),
            serial=dice.choice(["0042", None, "0077"]),
        )
        name = REFUSED_AT_FIRST if dice.random() < 0.2 else "x"
        files[f"{dice.choice('ab')}/{name}_{number}_{place}.fits"] = data
    return files


class Life:
    """A library and whatever happens to it."""

    def __init__(self, at: Path, seed: int) -> None:
        self.at, self.seam, self.dice = at, TickingSeam(), random.Random(seed)
        self.done: list[str] = []
        self.cards = 0

    def step(self) -> None:
        """One command, chosen by the dice. That it is refused (an ambiguous name, nothing to undo) is fine too."""
        command = self.dice.choice(
            [self._ingest, self._ingest, self._amend, self._amend, self._undo, self._retire, self._restore, self._name,
             self._join, self._body_changed, self._train_changed, self._retry]
        )  # fmt: skip
        with open_library(self.at / "library", seam=self.seam) as opened:
            try:
                command(opened)
            except DarklibError as error:
                self.done.append(f"{command.__name__}: {error.code}")
            else:
                self.done.append(command.__name__)

    def some(self, opened: Opened) -> list[str]:
        frames = sorted(frame.sha256 for frame in opened.catalogue.frames(FrameQuery(retired=None)).frames)
        return self.dice.sample(frames, min(len(frames), self.dice.randint(1, 3)))

    def card(self) -> Path:
        self.cards += 1
        folder = self.at / f"card-{self.cards}"
        put(folder, card_of(self.dice, self.cards))
        return folder

    def _ingest(self, opened: Opened) -> None:
        stated = self.dice.choice(
            [Stated(), Stated(), Stated(train="Linden 80", temperature_c=-8.0), Stated(body="Old box")]
        )
        InProcessGuard.refusing = True
        try:
            ingest(opened, [str(self.card())], stated, copiers=0)
        finally:
            InProcessGuard.refusing = False

    def _amend(self, opened: Opened) -> None:
        fields = self.dice.sample(sorted(VALUES), self.dice.randint(1, 2))
        correct.amend(opened, self.some(opened), {field: self.dice.choice(VALUES[field]) for field in fields})

    def _undo(self, opened: Opened) -> None:
        correct.undo(opened, self.some(opened))

    def _retire(self, opened: Opened) -> None:
        correct.retire(opened, self.some(opened), note="clouds")

    def _restore(self, opened: Opened) -> None:
        correct.restore(opened, self.some(opened))

    def _bodies(self, opened: Opened) -> list[str]:
        return self.dice.choices([row.ref.id for row in opened.catalogue.bodies()], k=2)

    def _name(self, opened: Opened) -> None:
        correct.name_body(opened, self._bodies(opened)[0], self.dice.choice(["Old box", "The cooled one", "Spare"]))

    def _join(self, opened: Opened) -> None:
        correct.join_bodies(opened, *self._bodies(opened))

    def _body_changed(self, opened: Opened) -> None:
        correct.body_changed(opened, self._bodies(opened)[0], what=self.dice.choice(["remapped", "cleaned"]), note="x")

    def _train_changed(self, opened: Opened) -> None:
        for train in opened.catalogue.trains()[:1]:
            correct.train_changed(opened, train.ref.fingerprint, note="rotated")

    def _retry(self, opened: Opened) -> None:
        audit.retry_set_aside(opened)


def live(stage: tuple[Path, Path], seed: int, steps: int) -> Life:
    set_stage(*stage)
    life = Life(stage[1], seed)
    for _ in range(steps):
        life.step()
    assert_replay_is_equal(stage[1], (seed, life.done))
    return life


@pytest.mark.parametrize("seed", [1])
def test_a_short_life(seed: int, stage: tuple[Path, Path]) -> None:
    life = live(stage, seed, 14)
    assert len([name for name in life.done if ":" not in name]) > 5


@pytest.mark.long
@pytest.mark.timeout(600)
@pytest.mark.parametrize("first", range(100, 140, 10))
def test_long_lives(first: int, stage: tuple[Path, Path], record_property: Callable[[str, object], None]) -> None:
    done: list[str] = []
    for seed in range(first, first + 10):
        done += live(stage, seed, 30).done
    refused = len([name for name in done if ":" in name])
    record_property(
        "measured", f"replay: seeds {first} to {first + 9}: {len(done)} commands ({refused} refused), equal"
    )


class Meanwhile(Silent):
    """Does something with the library in between, as another process would, whenever a file was looked at."""

    def __init__(self, *todo: Callable[[], None]) -> None:
        self.todo = list(todo)

    def advance(self, path: str, size: int) -> None:
        if self.todo:
            self.todo.pop(0)()


@pytest.mark.parametrize("hasty", [True, False], ids=["every file recorded by itself", "recorded together"])
@pytest.mark.parametrize("when", [1, 3], ids=["early", "when all was looked at"])
def test_two_runs_that_take_turns(when: int, hasty: bool, stage: tuple[Path, Path]) -> None:
    """While one card is taken in, another is, and a camera is named: the journal's order is that of the events.

    Both cards hold a frame of the same series, train and body with slightly different figures, and whichever comes
    first defines them; and both hold one frame in common.
    """
    set_stage(*stage)
    at = stage[1]
    for number, focal_mm in ((1, 470.0), (2, 475.0)):
        put(
            at / f"card-{number}",
            {
                f"{number}/A.fits": fits("Light", 50 + number, exposure_s=120.0 + number / 1000, focal_mm=focal_mm),
                f"{number}/B.fits": fits("Dark", 60 + number, exposure_s=60.0 + number / 1000, serial="0099"),
                f"{number}/C.fits": fits("Dark", 70),
                f"{number}/D.fits": fits("Dark", 80 + number),
            },
        )
    seam, other_seam = TickingSeam(), TickingSeam(NOW + timedelta(seconds=7))
    seam.hasty = other_seam.hasty = hasty
    root = at / "library"
    with open_library(root, seam=seam) as opened, open_library(root, seam=other_seam) as other:

        def name() -> None:
            with suppress(DarklibError):
                correct.name_body(other, "0042", "Named meanwhile")

        def second_card() -> None:
            counts.append(ingest(other, [str(at / "card-2")], copiers=0).counts)

        counts: list[Any] = []
        todo: list[Callable[[], None]] = [name, name, name, name]
        todo[when] = second_card
        progress = Meanwhile(*todo)
        counts.append(ingest(opened, [str(at / "card-1")], copiers=0, progress=progress).counts)
    assert [(one.stored, one.duplicates) for one in counts] == [(4, 0), (3, 1)]
    assert len(list((root / "frames").rglob("*_C.fits"))) == 1, "the copy that came second was taken away"
    with open_library(root, seam=seam) as opened:
        held = {frame.sha256 for frame in opened.catalogue.frames(FrameQuery(retired=None)).frames}
        wanted = {sha(path.read_bytes()) for path in [*at.glob("card-?/*/*.fits")]} | {
            sha(FIRST_CARD["darks/D_1.fits"])
        }
        assert wanted <= held
        assert len([one for one in opened.catalogue.bodies() if one.ref.label == "Named meanwhile"]) == 1
    assert_replay_is_equal(at, "taking turns")


def test_a_tail_is_applied_once_whoever_finds_it(stage: tuple[Path, Path]) -> None:
    """Many open the library while one takes a card in; each applies what is there or leaves it, nothing twice."""
    set_stage(*stage)
    at = stage[1]

    def look() -> None:
        with open_library(at / "library", seam=FixedSeam()) as other:
            replayed.append(other.replayed)
            counts.append(other.catalogue.counts()["frames"])

    replayed: list[int] = []
    counts: list[int] = []
    seam = TickingSeam()
    seam.hasty = True
    with open_library(at / "library", seam=seam) as opened:
        before = opened.catalogue.counts()["frames"]
        ingest(opened, [str(at / "card")], copiers=0, progress=Meanwhile(*[look] * 8))
        after = opened.catalogue.counts()["frames"]
    assert replayed == [0] * 8, "what another process has recorded is in the catalogue already"
    assert counts == sorted(counts)
    assert before <= counts[0] <= counts[-1] <= after == before + 4
    assert_replay_is_equal(at, "looking on")
