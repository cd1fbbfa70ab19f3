"""Lists of frames and series: pages, ranges, what matching asks; answered through indexes."""

import re
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from catalogue_material import NIGHT, NOW, SCOPE, applied, emptied, made, raw, sha_of, stored
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine, event

from darklib.catalogue.catalogue import Catalogue, FrameQuery
from darklib.facts import entries as e
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Frame, Kind, Statement
from darklib.facts.match import Wanted
from darklib.facts.train import TrainFacts
from darklib.matching.stock import MemoryStock, Stock


def ids(frames: Sequence[Frame]) -> list[str]:
    return [frame.id for frame in frames]


# pages


def test_pages_follow_each_other_by_time_then_id_and_end(catalogue: Catalogue) -> None:
    # Ten frames of each of three moments and ten without one, in no order of their ids.
    moments: list[datetime | None] = [NIGHT, None, NIGHT - timedelta(days=1), NIGHT + timedelta(seconds=1)]
    applied(catalogue, [stored(number, at=moments[number % 4]) for number in range(40)])
    whole = catalogue.frames(FrameQuery())
    assert whole.next is None
    far = NOW + timedelta(days=999)
    assert ids(whole.frames) == ids(sorted(whole.frames, key=lambda frame: (frame.taken_at or far, frame.id)))
    got: list[Frame] = []
    after: str | None = None
    for _ in range(6):
        page = catalogue.frames(FrameQuery(limit=7, after=after))
        got += page.frames
        after = page.next
        if after is None:
            break
    assert (ids(got), after) == (ids(whole.frames), None)
    assert catalogue.frames(FrameQuery(limit=40)).next is None
    assert catalogue.frames(FrameQuery(limit=0)).frames == []


def test_a_page_after_an_unknown_frame_is_an_error(catalogue: Catalogue) -> None:
    with pytest.raises(DarklibError, match="holds no frame") as caught:
        catalogue.frames(FrameQuery(after="0123456789abcdef"))
    assert caught.value.code == "no_such_frame"


# ranges

LIGHT = {"kind": Kind.LIGHT, "target": "M 33", "exposure_s": 120.0, "sensor_temperature_c": -5.0, "filter": "Ha"}


@pytest.fixture
def some(catalogue: Catalogue) -> Catalogue:
    """a to d: a dark, a light of another night and body, an undecided frame, a retired bias of nothing known."""
    applied(
        catalogue,
        [
            stored("a"),
            stored("b", at=NIGHT + timedelta(days=1), serial="77", **LIGHT),
            stored("c", None, exposure_s=1 / 60, sensor_temperature_c=None),
            stored("d", Kind.BIAS, at=None, exposure_s=None, sensor_temperature_c=None),
            e.Retired((sha_of("d"),), "", NOW),
        ],
    )
    return catalogue


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({}, "abc"),
        ({"retired": None}, "abcd"),
        ({"retired": True}, "d"),
        ({"kind": Kind.DARK}, "a"),
        ({"undecided": True}, "c"),
        ({"body": "A 26 (0077)"}, "x"),
        ({"body": "a 26 (77)"}, "b"),
        ({"night_low": "2026-10-04"}, "b"),
        ({"night_high": "2026-10-03"}, "ac"),
        ({"night_low": "2026-10-03", "night_high": "2026-10-04"}, "abc"),
        ({"exposure_low_s": 120.0}, "ab"),
        ({"exposure_low_s": 120.0, "exposure_high_s": 120.0}, "b"),
        ({"exposure_high_s": 1.0}, "c"),
        ({"exposure_low_s": float("-inf"), "exposure_high_s": float("inf"), "retired": None}, "abc"),
        ({"temperature_low_c": -10.0, "temperature_high_c": -10.0}, "a"),
        ({"temperature_high_c": -5.0}, "ab"),
        ({"filter": "ha"}, "b"),
        ({"filter": "nothing"}, ""),
        ({"train": "linden 80 480 MM"}, "b"),
        ({"target": "m 33"}, "b"),
        ({"series": ()}, ""),
    ],
)
def test_ranges(some: Catalogue, query: dict[str, Any], found: str) -> None:
    if found == "x":
        with pytest.raises(DarklibError, match="There is no body") as caught:
            some.frames(FrameQuery(**query))
        assert "a-26-" in caught.value.remedy
        return
    expected = {sha_of(name)[:16] for name in found}
    assert set(ids(some.frames(FrameQuery(**query)).frames)) == expected


def test_bodies_and_trains_by_beginnings(some: Catalogue) -> None:
    b = some.frames_by_id([sha_of("b")])[0]
    assert b.body is not None
    assert b.train is not None
    assert ids(some.frames(FrameQuery(body=b.body.id)).frames) == [b.id]
    assert ids(some.frames(FrameQuery(body=b.body.id[:-2])).frames) == [b.id]
    assert ids(some.frames(FrameQuery(train=b.train.fingerprint)).frames) == [b.id]
    assert ids(some.frames(FrameQuery(train=b.train.fingerprint[:5])).frames) == [b.id]
    with pytest.raises(DarklibError, match="several bodies"):
        some.frames(FrameQuery(body="a-26"))
    with pytest.raises(DarklibError, match="There is no train"):
        some.frames(FrameQuery(train="Linden"))


def test_the_frames_of_a_series(some: Catalogue) -> None:
    (dark,) = some.series(Kind.DARK)
    assert ids(some.frames(FrameQuery(series=(dark.id,))).frames) == [sha_of("a")[:16]]
    assert some.series_frames(["2026-10-03-zzzzz"]) == {"2026-10-03-zzzzz": ()}


def test_series_by_night_target_and_id(some: Catalogue) -> None:
    assert [series.kind for series in some.series()] in ([Kind.DARK, None, Kind.LIGHT], [None, Kind.DARK, Kind.LIGHT])
    assert [series.kind for series in some.series(night_low="2026-10-04")] == [Kind.LIGHT]
    assert [series.kind for series in some.series(target="M 33", night_high="2026-10-04")] == [Kind.LIGHT]
    retired = raw(some.path, "SELECT id FROM series WHERE count = 0")[0][0]
    assert [series.retired_count for series in some.series(ids=[retired])] == [1]


def test_the_library_at_a_glance(some: Catalogue) -> None:
    assert some.last_light_night() == "2026-10-04"
    assert some.counts() == {
        "frames": 4,
        "light": 1,
        "dark": 1,
        "bias": 0,
        "flat": 0,
        "undecided": 1,
        "retired": 1,
        "bytes": 4 * 5760,
        "set_aside": 0,
    }
    assert [(row.ref.serial, row.frames, row.last_at) for row in some.bodies()] == [
        ("0042", 2, NIGHT),
        ("77", 1, NIGHT + timedelta(days=1)),
    ], "sorted by the first frame"
    assert [(row.ref.label, row.facts, row.nights) for row in some.trains()] == [
        ("Linden 80 480 mm", SCOPE, ("2026-10-04",))
    ]


def test_cameras_and_trains_stand_in_the_order_they_were_first_seen(catalogue: Catalogue) -> None:
    """Whatever order they were taken in; of two first seen together the lesser id comes first, undated ones last."""
    for place, (serial, day) in enumerate((("5", 2), ("4", None), ("3", 0), ("2", 1), ("1", 0))):
        at = None if day is None else NIGHT + timedelta(days=day)
        train = TrainFacts(f"Scope {serial}", 400.0 + 100 * place, 80.0)
        applied(catalogue, [stored(place, Kind.LIGHT, at=at, serial=serial, train=train)], run=f"run-{place}")
    bodies = [row.ref for row in catalogue.bodies()]
    together = sorted(ref.id for ref in bodies if ref.serial in ("1", "3"))
    assert [ref.id for ref in bodies[:2]] == together
    assert [ref.serial for ref in bodies[2:]] == ["2", "5", "4"]
    trains = [row.ref.fingerprint for row in catalogue.trains()]
    nights = [row.nights for row in catalogue.trains()]
    assert trains[:2] == sorted(trains[:2])
    assert nights == [("2026-10-03",), ("2026-10-03",), ("2026-10-04",), ("2026-10-05",), ()]


def test_everything_is_gone_through_while_others_write(some: Catalogue) -> None:
    seen = []
    for row in some.everything():
        applied(some, [stored(("more", row.pk))] if row.pk < 3 else [], run="run-2", offset=row.pk)
        seen.append((row.pk, row.sha256, row.path, row.size, row.in_place))
    assert [row[1] for row in seen[:4]] == [sha_of(name) for name in "abcd"]
    assert seen[0][2:] == ("frames/a.fits", 5760, False)
    assert next(row.pk for row in some.everything(after=3)) == 4


# what matching asks


def test_a_catalogue_is_a_stock(catalogue: Catalogue) -> None:
    stock: Stock = catalogue
    assert stock.wanted(Wanted(Kind.DARK)) == []


frames = st.lists(
    st.fixed_dictionaries(
        {
            "kind": st.sampled_from([Kind.DARK, Kind.DARK, Kind.FLAT, Kind.LIGHT]),
            "exposure_s": st.sampled_from([30.0, 60.0, 300.0, None]),
            "sensor_temperature_c": st.sampled_from([-10.0, -5.0, 0.0, 12.5, None]),
            "serial": st.sampled_from(["1", "2"]),
            "model": st.sampled_from(["A 26", "A 26", None]),
            "filter": st.sampled_from(["L", "Ha", None]),
            "train": st.sampled_from([SCOPE, TrainFacts("Birch 50", 250.0), TrainFacts()]),
            "days": st.sampled_from([0, 1, 5, 200, None]),
            "minutes": st.integers(0, 300),
        }
    ),
    min_size=1,
    max_size=25,
)
questions = st.builds(
    Wanted,
    kind=st.sampled_from([Kind.DARK, Kind.DARK, Kind.FLAT, Kind.LIGHT]),
    body_id=st.sampled_from([None, "first", "no such body"]),
    exposure_low_s=st.sampled_from([None, 29.0, 60.0]),
    exposure_high_s=st.sampled_from([None, 60.0, 306.0, float("inf")]),
    temperature_low_c=st.sampled_from([None, -10.0, -7.5, 0.0]),
    temperature_high_c=st.sampled_from([None, -5.0, 12.5]),
    train=st.sampled_from([None, "first", "00000000"]),
    filter=st.sampled_from([None, "L", "Ha", "none"]),
    near=st.sampled_from([None, NIGHT, NIGHT + timedelta(days=3), NIGHT - timedelta(days=300)]),
    limit=st.sampled_from([200, 200, 3]),
)


@pytest.fixture(scope="module")
def reused(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Catalogue]:
    with made(tmp_path_factory.mktemp("wanted")) as catalogue:
        yield catalogue


def same_as_in_memory(reused: Catalogue, takings: list[dict[str, Any]], asked: list[Wanted]) -> None:
    catalogue = emptied(reused)
    entries = []
    for number, taking in enumerate(takings):
        days, minutes = taking["days"], taking["minutes"]
        at = None if days is None else NIGHT + timedelta(days=days, minutes=minutes)
        read = {name: value for name, value in taking.items() if name not in ("days", "minutes")}
        entries.append(stored(number, at=at, **read))
    applied(catalogue, entries)
    everything = catalogue.frames(FrameQuery()).frames
    memory = MemoryStock(everything)
    body = next((frame.body.id for frame in everything if frame.body), "none")
    train = next((frame.train.fingerprint for frame in everything if frame.train), "none")
    for ask in asked:
        values = {name: getattr(ask, name) for name in Wanted.__slots__}
        values["body_id"] = body if ask.body_id == "first" else ask.body_id
        values["train"] = train if ask.train == "first" else ask.train
        meant = Wanted(**values)
        found, expected = catalogue.wanted(meant), memory.wanted(meant)
        assert [series.id for series in found] == [series.id for series in expected]
        for mine, theirs in zip(found, expected, strict=True):
            assert (mine.count, mine.body, mine.train, mine.filter) == (
                theirs.count,
                theirs.body,
                theirs.train,
                theirs.filter,
            )
            assert (mine.first_at, mine.last_at, mine.exposure_s) == (
                theirs.first_at,
                theirs.last_at,
                theirs.exposure_s,
            )
        assert catalogue.series_frames([one.id for one in found]) == memory.series_frames([one.id for one in found])
    for arguments in ((None, None), (train, None), (None, body), (train, body)):
        lights = {series.id for series in catalogue.light_series(*arguments)}
        assert lights == {series.id for series in memory.light_series(*arguments)}


@given(takings=frames, asked=st.lists(questions, min_size=1, max_size=6))
@settings(max_examples=20)
def test_wanted_is_what_frames_in_memory_would_answer(
    reused: Catalogue, takings: list[dict[str, Any]], asked: list[Wanted]
) -> None:
    same_as_in_memory(reused, takings, asked)


@pytest.mark.long
@pytest.mark.timeout(900)
@given(takings=frames, asked=st.lists(questions, min_size=1, max_size=6))
@settings(max_examples=1000)
def test_wanted_is_what_frames_in_memory_would_answer_many_times(
    reused: Catalogue, takings: list[dict[str, Any]], asked: list[Wanted]
) -> None:
    same_as_in_memory(reused, takings, asked)


def test_series_of_none_but_retired_frames_are_not_wanted(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a"), e.Retired((sha_of("a"),), "", NOW)])
    assert catalogue.wanted(Wanted(Kind.DARK)) == []
    assert catalogue.light_series(None, None) == []


# indexes

A_NIGHT = FrameQuery(Kind.LIGHT, None, "2026-10-03", "2026-10-03")
PLANS = {
    "wanted": ("ix_series_stock", lambda c: c.wanted(Wanted(Kind.DARK, "a-26-x", 290, 310, -12, -8, near=NOW))),
    "batches of a night": (
        "ix_frames_night",
        lambda c: c.frames(FrameQuery(Kind.LIGHT, None, "2026-10-03", "2026-10-03")),
    ),
    "a page": ("ix_frames_order", lambda c: c.frames(FrameQuery(limit=10, after=sha_of(0)[:16]))),
    "undecided": ("ix_frames_undecided", lambda c: c.frames(FrameQuery(undecided=True, limit=10))),
    "frames of series": ("ix_frames_series", lambda c: c.series_frames(["2026-10-03-bbbbb"])),
    "series of a night": ("ix_series_kind_night", lambda c: c.series(Kind.LIGHT, "2026-10-03", "2026-10-03")),
    "last night": ("ix_series_kind_night", lambda c: c.last_light_night()),
    "by path": ("ix_frames_path", lambda c: c.find("frames/1.fits")),
    "by source": ("ix_sources_path", lambda c: c.find("/card/none.fits")),
    "by id": ("uq_frames_id|sqlite_autoindex_frames", lambda c: c.find("abcdef")),
}


@pytest.fixture(scope="module")
def analysed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plans")
    with made(folder) as catalogue:
        lights = [stored(number, Kind.LIGHT, at=NIGHT + timedelta(days=number // 20)) for number in range(200)]
        applied(
            catalogue, [*lights, *(stored(number, at=NIGHT + timedelta(days=number)) for number in range(200, 300))]
        )
    return folder


@pytest.mark.parametrize("what", PLANS)
def test_questions_are_answered_through_an_index(analysed: Path, what: str) -> None:
    index, ask = PLANS[what]
    with made(analysed) as catalogue:
        statements: list[tuple[str, Any]] = []

        def keep(_c: Any, _cursor: Any, statement: str, parameters: Any, *_: Any) -> None:
            if statement.startswith("SELECT"):
                statements.append((statement, parameters))

        event.listen(catalogue._engine, "before_cursor_execute", keep)
        ask(catalogue)
        plans = [
            " ".join(str(row[3]) for row in raw(catalogue.path, f"EXPLAIN QUERY PLAN {statement}", *parameters))
            for statement, parameters in statements
        ]
        assert any(name in plan for plan in plans for name in index.split("|")), plans
        for plan in plans:
            assert "SCAN frames" not in plan or "USING INDEX" in plan or "USING COVERING INDEX" in plan, plan


# a large library


def test_no_question_of_a_list_reads_all_frames(tmp_path: Path) -> None:
    """The plans SQLite makes for these questions go through indexes: how long they take grows with the answer.

    That they are quick is measured by scripts/bench.py, on 100,000 frames.
    """
    with made(tmp_path) as catalogue:
        applied(catalogue, [stored(number, Kind.DARK, at=NIGHT + timedelta(minutes=number)) for number in range(5)])
        applied(catalogue, [stored("light", Kind.LIGHT, at=NIGHT)])
        body = catalogue.bodies()[0].ref.id
        asked: list[tuple[str, Any]] = []
        note = partial(_note, asked)
        event.listen(Engine, "before_cursor_execute", note)
        try:
            assert catalogue.wanted(Wanted(Kind.DARK, body, 294, 306, -12, -8, near=NIGHT))
            assert catalogue.frames(A_NIGHT).frames
            assert catalogue.frames(FrameQuery(limit=2, after=sha_of(1)[:16])).frames
        finally:
            event.remove(Engine, "before_cursor_execute", note)
        questions = [(text, given) for text, given in asked if text.lstrip().upper().startswith("SELECT")]
        assert len(questions) > 3
        with closing(sqlite3.connect(catalogue.path)) as plain:
            for text, given in questions:
                plan = [row[3] for row in plain.execute(f"EXPLAIN QUERY PLAN {text}", given)]
                assert not [step for step in plan if re.match(r"SCAN (frames|records)\b(?!.*USING)", step)], text
            whole = [row[3] for row in plain.execute("EXPLAIN QUERY PLAN SELECT path FROM frames WHERE size = 1")]
            assert re.match(r"SCAN frames\b(?!.*USING)", whole[0]), "a question without an index is told from them"


def _note(asked: list[tuple[str, Any]], connection: object, cursor: object, text: str, given: Any, *_: object) -> None:
    asked.append((text, given))


def test_statements_given_while_storing_count_for_series(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", None, Statement("kind", "flat"), train=SCOPE, filter="L")])
    (series,) = catalogue.series(Kind.FLAT)
    assert (series.filter, series.train) == ("L", catalogue.frames_by_id([sha_of("a")])[0].train)
