"""A plan followed through the inbox, with a clock that is told how late it is: what counts, what is told, Ctrl-C."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from darklib.facts.errors import DarklibError
from darklib.facts.frame import Kind
from darklib.facts.plan import Plan, Step
from darklib.jobs import follow as following
from darklib.jobs.asked import GapsAsked
from darklib.jobs.follow import Event, follow
from darklib.jobs.ingest import ingest
from darklib.jobs.library import init, open_library
from darklib.jobs.plan import gaps
from darklib.planning.expected import Expected
from darklib.readers.answers import Look
from darklib.readers.open import look
from darklib.scenario.fits_shot import fits_shot
from darklib.scenario.trio import trio_shots
from darklib.store.seam import Seam

Act = Callable[[], object]
DARK, _, LIGHT = trio_shots()
BEGIN = datetime(2026, 10, 3, 20, 0, tzinfo=UTC)


def dark(number: int, temperature_c: float, exposure_s: float = 120.0) -> bytes:
    """The dark that was shot as number such and such, one after the other."""
    shot = replace(
        DARK,
        exposure_s=exposure_s,
        temperature_c=temperature_c,
        taken_at=BEGIN + timedelta(seconds=number * (exposure_s + 5.0)),
        seed=1000 + number,
    )
    return fits_shot(shot)


class Timed(Seam):
    """A clock that goes on by the pauses alone. At each pause the next act is done; after the last one, Ctrl-C."""

    def __init__(self, *acts: Act | None, then: int = 3) -> None:
        self.acts = [*acts, *[None] * then]
        self.now_s = 0.0

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float, unless: Callable[[], bool] = lambda: False) -> None:
        self.now_s += seconds
        if not self.acts:
            raise KeyboardInterrupt
        act = self.acts.pop(0)
        if act is not None:
            act()


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


class Heard:
    """A Teller that remembers."""

    def __init__(self) -> None:
        self.places: list[str] = []
        self.events: list[Event] = []
        self.notes: list[str] = []
        self.errors: list[DarklibError] = []

    def watching(self, places: Sequence[str]) -> None:
        self.places += places

    def happened(self, event: Event) -> None:
        self.events.append(event)

    def failed(self, error: DarklibError, again_in_s: float) -> None:
        self.errors.append(error)

    def note(self, text: str) -> None:
        self.notes.append(text)

    def counted(self) -> list[int]:
        return [one.counted for one in self.events[-1].so_far.steps]


@pytest.fixture
def root(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a library with one light of 300 s and one dark of 120 s. Files are looked at in this process."""
    monkeypatch.setattr(following, "Guard", Here)
    init(str(tmp_path / "library"), timezone="Etc/UTC")
    card = tmp_path / "card"
    card.mkdir()
    (card / "light.fits").write_bytes(fits_shot(LIGHT))
    (card / "known.fits").write_bytes(dark(0, -10.0))
    with open_library(tmp_path / "library") as opened:
        ingest(opened, [str(card)])
    return tmp_path / "library"


def plan_for(root: Path) -> Plan:
    """Two steps in the library's own readout: 3 darks of 120 s at -11 to -9 C, 2 of 60 s at -6 to -4 C."""
    with open_library(root) as opened:
        (row,) = [row for row in opened.catalogue.bodies() if row.frames]
        readout = opened.catalogue.series(Kind.LIGHT)[0].readout
    first = Step(Kind.DARK, row.ref, readout, 120.0, -10.0, 3, 26.0, 1, low_c=-11.0, high_c=-9.0, how="cooler")
    return Plan((first, replace(first, exposure_s=60.0, temperature_c=-5.0, low_c=-6.0, high_c=-4.0, frames=2)), 50.0)


def put(root: Path, name: str, data: bytes) -> Act:
    def act() -> None:
        (root / "inbox" / name).write_bytes(data)

    return act


def followed(root: Path, *acts: Act | None, then: int = 3) -> Heard:
    heard = Heard()
    with pytest.raises(KeyboardInterrupt):
        follow(root, plan_for(root), heard, seam=Timed(*acts, then=then))
    return heard


def test_frames_are_ticked_off_until_the_last_step_is_done(root: Path) -> None:
    """Out of order, one of them twice under two names, one too warm, one that the library knew before."""
    heard = Heard()
    acts = [
        put(root, "b.fits", dark(2, -10.1)),
        put(root, "a.fits", dark(1, -10.0)),
        put(root, "a again.fits", dark(1, -10.0)),
        put(root, "warm.fits", dark(4, -2.0)),
        put(root, "old.fits", dark(0, -10.0)),
        put(root, "c.fits", dark(3, -9.9)),
        put(root, "d.fits", dark(40, -5.0, 60.0)),
        put(root, "e.fits", dark(41, -5.0, 60.0)),
    ]
    spaced = [act for one in acts for act in (one, None)]
    follow(root, plan_for(root), heard, seam=Timed(*spaced, then=3))
    assert heard.errors == []
    assert [event.event for event in heard.events if event.event in ("began", "move_on", "done")] == [
        "began", "move_on", "done",
    ]  # fmt: skip
    assert heard.counted() == [3, 2]
    assert heard.events[0].text == "Step 1: 3 darks of 120 s, set the cooler to -10.0 C (-11 to -9 C count)."
    move_on = next(event for event in heard.events if event.event == "move_on")
    assert move_on.text == "Step 2: 2 darks of 60 s, set the cooler to -5.0 C (-6 to -4 C count)."
    assert dict(heard.events[-1].so_far.not_counted) == {"temperature": 1}
    assert heard.places == [str(root / "inbox")]


def test_nothing_is_taken_in_or_changed(root: Path, snapshot: Callable[[Path], dict[str, bytes]]) -> None:
    before = {
        name: data for name, data in snapshot(root).items() if name.startswith(("frames", "journal", "set-aside"))
    }
    heard = followed(root, put(root, "a.fits", dark(1, -10.0)), None)
    after = {name: data for name, data in snapshot(root).items() if name.startswith(("frames", "journal", "set-aside"))}
    assert heard.counted() == [1, 0]
    assert after == before
    assert (root / "inbox" / "a.fits").exists()


def test_a_file_that_goes_away_still_counts_and_one_that_grows_counts_once(root: Path) -> None:
    data = dark(1, -10.0)
    heard = followed(
        root,
        put(root, "a.fits", data[:9000]),
        None,
        put(root, "a.fits", data),
        None,
        None,
        (root / "inbox" / "a.fits").unlink,
        None,
    )
    assert heard.counted() == [1, 0]
    assert [event.event for event in heard.events] == ["began", "frame"]


def test_it_tells_when_the_reading_has_settled(root: Path) -> None:
    """-10.9, -10.4 and -10.0 C in steps of 125 s are too steep; once the last ten minutes are flat, it has settled."""
    values = [-10.9, -10.4, -10.0, -10.0, -10.0, -10.0, -10.0]
    acts: list[Act | None] = []
    for number, value in enumerate(values, start=1):
        acts += [put(root, f"{number}.fits", dark(number, value)), None]
    with open_library(root):
        pass
    heard = Heard()
    plan = plan_for(root)
    more = replace(plan, steps=(replace(plan.steps[0], frames=20), plan.steps[1]))
    with pytest.raises(KeyboardInterrupt):
        follow(root, more, heard, seam=Timed(*acts))
    told = [event.event for event in heard.events]
    assert told.count("settled") == 1
    assert heard.counted() == [7, 0]
    settled = next(event for event in heard.events if event.event == "settled")
    assert settled.text == "The reading has settled at -10.0 C."


def test_lights_to_come_make_a_plan(root: Path) -> None:
    """An hour of 120 s at -10 C: one dark of the 20 exists, so 19 are to be shot at it, 2 s and 20 minutes more."""
    with open_library(root) as opened:
        result = gaps(opened, asked=GapsAsked(plan=True, expected=(Expected(120.0, -10.0, -10.0, hours=1.0),)))
    (gap,) = [gap for gap in result.gaps if gap.exposure_s == 120.0]
    assert (gap.expected, gap.batches, gap.lights_count, gap.lights_seconds) == (True, (), 30, 3600.0)
    assert (gap.have, gap.need, gap.cooled) == (1, 20, True)
    assert result.plan is not None
    step = next(step for step in result.plan.steps if step.exposure_s == 120.0)
    assert (step.frames, step.how, step.temperature_c) == (19, "cooler", -10.0)
    assert step.bytes == 19 * LIGHT_BYTES


LIGHT_BYTES = len(fits_shot(LIGHT))


def test_tonight_what_is_served_comes_first(root: Path) -> None:
    with open_library(root) as opened:
        rows = gaps(opened, asked=GapsAsked(tonight=True)).tonight
    assert rows is not None
    assert {(row.exposure_s, row.low_c, row.set_point) for row in rows} == {(120.0, -10.0, True), (300.0, -10.0, True)}
    assert next(row.exposure_s for row in rows) == 120.0


def test_the_picture_holds_what_there_is_and_what_lacks(root: Path) -> None:
    with open_library(root) as opened:
        (picture,) = gaps(opened, asked=GapsAsked(coverage=True)).coverage or ()
    cells = {(cell.degree_c, cell.exposure_s): (cell.have, cell.lights, cell.lacking) for cell in picture.cells}
    assert cells == {(-10, 120.0): (1, 0, 0), (-10, 300.0): (0, 1, 20)}


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (GapsAsked(expected=(Expected(120.0, -80.0, -80.0),)), "No sensor of a camera is at -80 C"),
        (GapsAsked(expected=(Expected(120.0, 5.0, 5.0),), body="nobody"), "There is no camera called 'nobody'"),
        (GapsAsked(body="nobody"), "There is no camera called 'nobody'"),
        (GapsAsked(month=2), "No lights were shot in month 2"),
    ],
)
def test_what_cannot_be_is_one_sentence(asked: GapsAsked, words: str, root: Path) -> None:
    with open_library(root) as opened, pytest.raises(DarklibError, match=words):
        gaps(opened, asked=asked)


def test_lights_to_come_of_an_empty_library(tmp_path: Path) -> None:
    init(str(tmp_path / "library"), timezone="Etc/UTC")
    with open_library(tmp_path / "library") as opened:
        assert not gaps(opened).lights
        with pytest.raises(DarklibError, match="no camera in this library yet"):
            gaps(opened, asked=GapsAsked(expected=(Expected(120.0, 5.0, 5.0),)))


def test_a_cool_down_run_is_learned_from_earlier_darks(root: Path) -> None:
    """The camera is stated to have no cooler, and darks of one evening fell from 20 to 4 C, half of the way every 20
    minutes: the run expected next falls alike.
    """
    with open_library(root) as opened:
        (row,) = [row for row in opened.catalogue.bodies() if row.frames]
    config = root / "darklib.toml"
    config.write_text(config.read_text("utf-8") + f'\n[cameras."{row.ref.id}"]\ncooled = false\n', "utf-8")
    card = root.parent / "evening"
    card.mkdir()
    for number in range(40):
        value = 4.0 + 16.0 * 2.0 ** (-(number * 125.0 / 60.0) / 20.0)
        (card / f"{number:02}.fits").write_bytes(dark(number + 100, round(value, 1)))
    coming = GapsAsked(plan=True, expected=(Expected(120.0, -2.0, 0.0),))
    with open_library(root) as opened:
        before = gaps(opened, asked=coming)
        ingest(opened, [str(card)])
        after = gaps(opened, asked=coming)
    assert [run.cooling for run in before.cool_downs if run.exposure_s == 120.0] == [None]
    (cooling,) = [run.cooling for run in after.cool_downs if run.exposure_s == 120.0]
    assert cooling is not None
    assert cooling.start_c == pytest.approx(20.0, abs=1.0)
    assert cooling.end_c == pytest.approx(4.0, abs=1.0)
    assert cooling.half_minutes == pytest.approx(20.0, rel=0.15)
