"""A watch with a clock that is told how late it is: what it takes, what it waits for, what it survives."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import TypeVar

import numpy as np
import pytest
from watch_stage import DARK, FLAT, LIGHT, Heard, Here, Step, Structure, Timed, put, stored, watched

from darklib.catalogue.catalogue import FrameQuery
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Frame, Kind
from darklib.jobs import intake
from darklib.jobs.asked import Stated
from darklib.jobs.library import Opened, init, open_library
from darklib.jobs.rebuild import rebuild
from darklib.jobs.watch import LONGEST_PAUSE_S, LOOK_EVERY_S, Asked, Watch, watch
from darklib.readers.answers import Look
from darklib.readers.open import look
from darklib.scenario.dng import RawFacts, dng_bytes
from darklib.store.keeping_apart import alone
from darklib.store.layout import Library
from darklib.store.seam import Seam

T = TypeVar("T")


@pytest.fixture
def card(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return an empty card beside an empty library `library`. Files are looked at in this process."""
    monkeypatch.setattr(intake, "Guard", Here)
    init(str(tmp_path / "library"), timezone="Etc/UTC")
    (tmp_path / "card").mkdir()
    return tmp_path / "card"


def test_files_are_taken_as_they_arrive_and_each_once(card: Path) -> None:
    heard, seam = watched(
        card, put(card / "d.fits", DARK), None, None, put(card / "100/l.fits", LIGHT), put(card / "n.txt", b"x"), then=4
    )
    assert stored(heard) == ["d.fits", "l.fits"]
    assert [one.counts.seen for one in heard.rounds] == [1, 1, 1]
    assert heard.places == [str(card)]
    assert set(seam.pauses) == {LOOK_EVERY_S}


def test_the_inbox_is_watched_where_no_folder_is_named(card: Path) -> None:
    root = card.parent / "library"
    heard, seam = Heard(), Timed(put(root / "inbox" / "d.fits", DARK))
    with pytest.raises(KeyboardInterrupt):
        watch(root, Asked(), heard, seam=seam)
    assert stored(heard) == ["d.fits"]


def grow(path: Path, data: bytes, pieces: int) -> list[Step]:
    """Writes a file in so many pieces."""
    cuts = [len(data) * number // pieces for number in range(pieces + 1)]

    def more(start: int, end: int) -> None:
        with path.open("ab") as file:
            file.write(data[start:end])

    return [lambda start=start, end=end: more(start, end) for start, end in pairwise(cuts)]  # type: ignore[misc]


def test_a_file_that_grows_slowly_is_taken_when_it_is_whole(card: Path) -> None:
    """Written with pauses that are longer than two looks: still, and not whole by its own header."""
    steps: list[Step | None] = []
    for step in grow(card / "slow.fits", LIGHT, 5):
        steps += [step, None, None]
    heard, _ = watched(card, *steps, then=20)
    assert stored(heard) == ["slow.fits"]
    assert sum(one.counts.set_aside for one in heard.rounds) == 0


def test_a_copier_that_sets_the_size_first_is_waited_for(card: Path) -> None:
    path = card / "reserved.fits"
    half = len(LIGHT) // 2
    before = path.parent, 1_700_000_000_000_000_000

    def reserve() -> None:
        path.write_bytes(LIGHT[:half] + bytes(len(LIGHT) - half))
        os.utime(path, ns=(before[1], before[1]))

    def finish() -> None:
        path.write_bytes(LIGHT)

    heard, _ = watched(card, reserve, *[None] * 40, finish, then=4)
    assert stored(heard) == ["reserved.fits"]
    assert len(heard.rounds) == 1
    assert [note for note in heard.notes if "ends in zeros" in note] == heard.notes
    assert len(heard.notes) == 1


@pytest.mark.parametrize("name", ["a.fits.part", "a.fits.tmp", ".a.fits", "a.fits~"])
def test_a_file_renamed_into_its_place(name: str, card: Path) -> None:
    def rename() -> None:
        (card / name).rename(card / "a.fits")

    heard, _ = watched(card, put(card / name, DARK), None, None, None, rename)
    assert stored(heard) == ["a.fits"]


def test_a_time_in_the_future(card: Path) -> None:
    def from_the_future() -> None:
        put(card / "d.fits", DARK)()
        os.utime(card / "d.fits", (4_000_000_000, 4_000_000_000))

    heard, _ = watched(card, from_the_future)
    assert stored(heard) == ["d.fits"]


def test_what_never_becomes_whole_is_set_aside_after_long_and_taken_when_it_is_mended(card: Path) -> None:
    path = card / "short.fits"
    heard, seam = watched(card, put(path, DARK[:9000]), *[None] * 900, put(path, DARK), then=4)
    assert [(item.path, item.code) for one in heard.rounds for item in one.set_aside] == [(str(path), "truncated")]
    assert stored(heard) == ["short.fits"]
    assert len(heard.notes) == 1
    assert seam.now_s > 3600


def test_the_folder_goes_and_comes_back(card: Path) -> None:
    away = card.with_name("away")
    heard, _ = watched(
        card,
        put(card / "d.fits", DARK), None, None,
        lambda: card.rename(away), None, None,
        lambda: away.rename(card), put(card / "l.fits", LIGHT),
    )  # fmt: skip
    assert stored(heard) == ["d.fits", "l.fits"]
    assert [one.counts.duplicates for one in heard.rounds] == [0, 0], "what was taken in is known when it comes back"
    assert [("there again" in note, "Waiting" in note) for note in heard.notes] == [(False, True), (True, False)]
    assert heard.errors == []


def test_a_card_that_is_pulled_while_it_is_read(card: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its files go between the look and the copy. They are taken when it is back."""
    away = card.with_name("away")

    class Pulled(Here):
        def map(self, paths: Sequence[str]) -> Iterator[Look]:
            for path in paths:
                yield look(path)
                if card.exists() and not away.exists():
                    card.rename(away)

    put(card / "a.fits", DARK)()
    put(card / "b.fits", FLAT)()
    put(card / "c.fits", LIGHT)()
    monkeypatch.setattr(intake, "Guard", Pulled)
    heard, _ = watched(card, None, None, lambda: shutil.copytree(away, card), then=40)
    assert sorted(stored(heard)) == ["a.fits", "b.fits", "c.fits"]
    assert {item.code for one in heard.rounds for item in one.set_aside} <= {"unreadable", "changed_while_read"}
    with open_library(card.parent / "library") as opened:
        assert opened.catalogue.counts()["frames"] == 3
        assert opened.catalogue.counts()["set_aside"] == 0


class Failing(Timed):
    """The disk of the library is full for a while."""

    full = True

    def _call(self, name: str, path: str, func: Callable[[], T]) -> T:
        if self.full and name == "create_exclusive" and "/frames/" in Path(path).as_posix():
            raise OSError(28, "No space left on device", path)
        return func()


def test_a_round_that_fails_is_said_and_tried_again_after_a_growing_pause(card: Path) -> None:
    put(card / "d.fits", DARK)()

    class Emptied(Failing):
        def sleep(self, seconds: float, unless: Callable[[], bool] = lambda: False) -> None:
            super().sleep(seconds)
            self.full = len(self.pauses) < 10

    heard, seam = Heard(), Emptied(then=14)
    with pytest.raises(KeyboardInterrupt):
        watch(card.parent / "library", Asked((str(card),)), heard, seam=seam)
    assert stored(heard) == ["d.fits"]
    assert {error.code for error, _ in heard.errors} == {"disk_full"}
    pauses = [pause for _, pause in heard.errors]
    assert pauses == sorted(set(pauses)), "ever longer, and the same trouble is not said for ever"
    assert max(seam.pauses) == LONGEST_PAUSE_S
    assert seam.pauses[-1] == LOOK_EVERY_S, "back to normal"


def test_a_mistake_in_the_program_does_not_end_the_watch(card: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Broken(Here):
        tries = 0

        def map(self, paths: Sequence[str]) -> Iterator[Look]:
            Broken.tries += 1
            if Broken.tries < 3:
                raise ValueError("something nobody thought of")
            yield from map(look, paths)

    monkeypatch.setattr(intake, "Guard", Broken)
    put(card / "d.fits", DARK)()
    heard, _ = watched(card, then=8)
    assert [error.code for error, _ in heard.errors] == ["unexpected", "unexpected"]
    assert "something nobody thought of" in heard.errors[0][0].text
    assert stored(heard) == ["d.fits"]


def test_nothing_of_the_library_is_held_between_rounds(card: Path) -> None:
    root = card.parent / "library"
    put(card / "d.fits", DARK)()
    done: list[object] = []

    def others() -> None:
        with alone(Seam(), Library(root), 0.0):
            done.append("alone")
        done.append(rebuild(root).frames)

    heard, _ = watched(card, None, None, others, put(card / "l.fits", LIGHT))
    assert done == ["alone", 1]
    assert stored(heard) == ["d.fits", "l.fits"]
    assert heard.errors == []


def test_ctrl_c_ends_after_the_file_in_hand_and_tells_of_what_was_done(
    card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(card / "a.fits", DARK)()
    put(card / "b.fits", FLAT)()
    put(card / "c.fits", LIGHT)()

    class Stopping(Here):
        def map(self, paths: Sequence[str]) -> Iterator[Look]:
            for number, path in enumerate(paths):
                if number == 1:
                    os.kill(os.getpid(), 2)
                yield look(path)

    monkeypatch.setattr(intake, "Guard", Stopping)
    heard, seam = Heard(), Timed(then=9)
    with pytest.raises(KeyboardInterrupt):
        watch(card.parent / "library", Asked((str(card),)), heard, seam=seam)
    assert seam.steps, "it ended by itself"
    (told,) = heard.rounds
    with open_library(card.parent / "library") as opened:
        frames = opened.catalogue.counts()["frames"]
        assert opened.replayed == 0
        assert opened.catalogue.runs(1)[0].ended_at is not None
    assert len(told.stored) == frames == 1


def test_a_slow_share_is_looked_at_less_often_and_a_long_round_delays_nothing(card: Path) -> None:
    class Slow(Timed):
        share = True

        def _call(self, name: str, path: str, func: Callable[[], T]) -> T:
            if (name == "scandir") == self.share and name in ("scandir", "create_exclusive"):
                self.now_s += 30.0
            return func()

    put(card / "d.fits", DARK)()
    heard, seam = Heard(), Slow(then=3)
    with pytest.raises(KeyboardInterrupt):
        watch(card.parent / "library", Asked((str(card),)), heard, seam=seam)
    assert min(seam.pauses) >= 4 * 30.0
    put(card / "l.fits", LIGHT)()
    heard, seam = Heard(), Slow(then=3)
    seam.share = False
    with pytest.raises(KeyboardInterrupt):
        watch(card.parent / "library", Asked((str(card),)), heard, seam=seam)
    assert stored(heard) == ["l.fits"]
    assert seam.now_s > 30.0
    assert set(seam.pauses) == {LOOK_EVERY_S}


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C is sent to one process alone, as POSIX has it")
def test_a_ctrl_c_between_two_rounds_is_not_lost(card: Path) -> None:
    """It may come while anything is done, even while objects are cleared away, where an exception goes nowhere."""

    class Cleared:
        def __del__(self) -> None:
            os.kill(os.getpid(), 2)

    def cleared() -> None:
        Cleared()

    heard, seam = Heard(), Timed(cleared, then=9)
    with pytest.raises(KeyboardInterrupt):
        watch(card.parent / "library", Asked((str(card),)), heard, seam=seam)
    assert len(seam.steps) == 9


@pytest.mark.parametrize("way", ["move", "in_place", "dry_run"])
def test_in_the_other_ways(way: str, card: Path) -> None:
    heard, _ = watched(card, put(card / "d.fits", DARK), None, None, put(card / "l.fits", LIGHT), then=5, **{way: True})
    assert stored(heard) == ["d.fits", "l.fits"]
    with open_library(card.parent / "library") as opened:
        frames = [frame for name in ("dark", "light") for frame in _frames(opened, name)]
    assert sorted(path.name for path in card.iterdir()) == ([] if way == "move" else ["d.fits", "l.fits"])
    assert [frame.in_place for frame in frames] == ([] if way == "dry_run" else [way == "in_place"] * 2)


def _frames(opened: Opened, kind: str) -> list[Frame]:
    return list(opened.catalogue.frames(FrameQuery(kind=Kind(kind))).frames)


def test_what_is_stated_holds_for_all(card: Path) -> None:
    heard, _ = watched(card, put(card / "d.fits", DARK), stated=Stated(temperature_c=-7.5))
    assert [frame.temperature_c for frame in heard.rounds[0].stored] == [-7.5]


def test_what_cannot_be_watched_is_told_at_once(card: Path) -> None:
    root = card.parent / "library"
    put(card / "d.fits", DARK)()
    for asked, match in (
        (Asked((str(card / "nowhere"),)), "not there"),
        (Asked((str(card / "d.fits"),)), "only folders"),
        (Asked((str(root / "frames"),)), "only its inbox"),
        (Asked((str(card),), move=True, in_place=True), "exclude each other"),
    ):
        with pytest.raises(DarklibError, match=match):
            watch(root, asked, Heard(), seam=Timed())
    with pytest.raises(DarklibError, match="no darklib library"):
        watch(card, Asked(), Heard(), seam=Timed())


def test_nothing_is_kept_of_files_that_are_gone(card: Path) -> None:
    """Files that come and go leave nothing behind but what is there."""
    heard, seam = Heard(), Timed(then=0)
    one = Watch(card.parent / "library", Asked((str(card),), dry_run=True), heard, seam)
    one.begin()
    for number in range(8):
        for path in card.iterdir():
            path.unlink()
        for place in range(10):
            (card / f"{number}_{place}.txt").write_bytes(b"x")
        for _ in range(3):
            one.look()
            seam.now_s += LOOK_EVERY_S
    assert sum(told.counts.passed_over for told in heard.rounds) == 80
    assert len(one.settling) == 10


def test_a_raw_file_is_taken_when_its_skeleton_is_whole(card: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its structure is looked at by a worker; a camera's file that ends early is waited for."""
    monkeypatch.setattr("darklib.jobs.watch.Guard", Structure)
    pixels = np.random.default_rng(5).normal(1024.0, 9.0, (64, 96)).round().astype(np.uint16)
    facts = RawFacts("Veyra", "20M", "V-07", 800, Fraction(300), "2026:10:03 22:00:00", "RGGB", 512, 16383)
    data = dng_bytes(pixels, facts)
    path = card / "R_1.dng"
    heard, _ = watched(card, put(path, data[: len(data) * 2 // 3]), *[None] * 6, put(path, data), then=6)
    assert stored(heard) == ["R_1.dng"]
    assert sum(one.counts.set_aside for one in heard.rounds) == 0
    assert Structure.looked > 1
