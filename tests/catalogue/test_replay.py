"""The catalogue is the replay of the journal: however entries are grouped and however often they come."""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from pathlib import Path

import pytest
from catalogue_material import NIGHT, NOW, SCOPE, applied, dump, emptied, made, pixel_facts, sha_of, stored
from hypothesis import given, note, settings
from hypothesis import strategies as st

from darklib.catalogue.catalogue import Catalogue, FrameQuery
from darklib.facts import entries as e
from darklib.facts.entries import decode, encode
from darklib.facts.frame import Kind, Statement
from darklib.facts.grouping import in_series, in_time_order, seconds_of, series_key, temperatures_of
from darklib.facts.naming import body_id
from darklib.facts.plain import to_plain
from darklib.facts.train import TrainFacts

NAMES = "abcdef"
BODIES = [body_id("Alder", "A 26", serial) for serial in (None, "1", "2")]

name = st.sampled_from(NAMES)
names = st.lists(name, min_size=1, max_size=4, unique=True).map(lambda some: tuple(sha_of(one) for one in some))
moment = st.integers(0, 50).map(lambda minutes: NOW + timedelta(minutes=minutes))
statement = st.one_of(
    st.tuples(st.just("kind"), st.sampled_from(["dark", "bias", "light", "flat", None])),
    st.tuples(st.just("exposure_s"), st.sampled_from([40.0, 40.7, 41.4, None])),
    st.tuples(st.just("temperature_c"), st.sampled_from([-10.0, 4.25, None])),
    st.tuples(st.just("body"), st.sampled_from([*BODIES, "spare", "A 26 (1)", None])),
    st.tuples(st.just("train"), st.sampled_from(["my scope", "other", None])),
    st.tuples(st.just("target"), st.sampled_from(["M 31", "m 31", "M 33", None])),
    st.tuples(st.just("filter"), st.sampled_from(["L", "R", None])),
    st.tuples(st.just("clock_shift_s"), st.sampled_from([86400.0, None])),
    st.tuples(st.just("taken_at"), st.sampled_from(["2026-10-05T23:00:00Z", None])),
)
stored_entries = st.builds(
    lambda name, kind, said, **read: stored(name, kind, *(Statement(*one) for one in said), **read),
    name,
    st.sampled_from([*Kind, None]),
    st.lists(statement, max_size=2, unique_by=lambda one: one[0]),
    # Exposures that fit each other pairwise and not all: which series there are depends on the order.
    exposure_s=st.sampled_from([40.0, 40.7, 41.4, 42.1, None]),
    serial=st.sampled_from([None, "1", "2"]),
    at=st.sampled_from([NIGHT, NIGHT + timedelta(minutes=7), NIGHT + timedelta(days=1), None]),
    sensor_temperature_c=st.sampled_from([-10.0, -9.5, 3.33, None]),
    train=st.sampled_from([SCOPE, TrainFacts("Linden 80", 484.0), TrainFacts("Linden 80", 488.0)]),
    filter=st.sampled_from(["L", None]),
    source_path=st.sampled_from(["/card/x.fits", "/card/y.fits"]),
    measured=st.sampled_from([None, pixel_facts(1), pixel_facts(2, dn_step=4)]),
)
entries = st.one_of(
    stored_entries,
    stored_entries,
    stored_entries,
    st.builds(e.Seen, name.map(sha_of), st.sampled_from(["/card/x.fits", "/z"]), st.just(NOW)),
    st.builds(
        lambda number, some, said, at: e.Stated(number, some, said[0], said[1], "", at),
        st.sampled_from(["s1", "s2", "s3", "s4"]),
        names,
        statement,
        moment,
    ),
    st.builds(e.Unstated, st.sampled_from(["s1", "s2", "s3"]), moment, st.one_of(st.just(()), names)),
    st.builds(e.Retired, names, st.just("trails"), moment),
    st.builds(e.Restored, names, moment),
    st.builds(
        lambda name, version, step: e.Measured(sha_of(name), to_plain(pixel_facts(version, dn_step=step))),
        name,
        st.integers(1, 3),
        st.sampled_from([1, 2]),
    ),
    st.builds(e.BodyNamed, st.sampled_from(BODIES), st.sampled_from(["main", "spare"]), moment),
    st.builds(e.BodiesJoined, st.sampled_from(BODIES), st.sampled_from(BODIES), moment),
    st.builds(e.BodyChanged, st.sampled_from(BODIES), st.sampled_from(["remapped", "cleaned"]), st.just(""), moment),
    st.builds(e.TrainChanged, st.just("12345678"), st.just("turned"), moment),
    st.builds(
        lambda name, code: e.SetAside(sha_of(name), "/card/x", "set-aside/x", code, "", "0.1.0"),
        name,
        st.sampled_from(["damaged", "truncated"]),
    ),
    st.builds(e.SetAsideSettled, name.map(sha_of)),
    st.builds(e.CopyChecked, st.sampled_from(["/second", "/third"]), st.integers(0, 9), moment),
)
Runs = Sequence[Sequence[e.Entry]]


def possible(history: Runs) -> Runs:
    """Leaves out what no journal holds: the undoing of a statement whose number nobody has given out yet."""
    stated: set[str] = set()
    kept: list[list[e.Entry]] = []
    for run in history:
        kept.append([])
        for entry in run:
            if isinstance(entry, e.Stated):
                stated.add(entry.statement)
            if not isinstance(entry, e.Unstated) or entry.statement in stated:
                kept[-1].append(entry)
    return [run for run in kept if run]


runs = st.lists(st.lists(entries, min_size=1, max_size=9), min_size=1, max_size=4).map(possible).filter(len)


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Catalogue, Catalogue]]:
    folder = tmp_path_factory.mktemp("replay")
    with made(folder, "one.sqlite") as one, made(folder, "other.sqlite") as other:
        yield one, other


def same_by_any_grouping(pair: tuple[Catalogue, Catalogue], history: Runs) -> None:
    live, rebuilt = (emptied(catalogue) for catalogue in pair)
    for number, run in enumerate(history):
        note(f"run-{number}: {run}")
        for entry in run:
            applied(live, [entry], run=f"run-{number}")
    for number, run in enumerate(history):
        applied(rebuilt, [decode(encode(entry)) for entry in run], run=f"run-{number}")
    after = dump(live.path)
    assert dump(rebuilt.path) == after
    check_figures(live)
    assert live.integrity() == "ok"
    # The last run once more, as when it was applied and its position was not yet known.
    applied(live, history[-1], run=f"run-{len(history) - 1}", offset=1000)
    assert dump(live.path, {"runs"}) == {table: rows for table, rows in after.items() if table != "runs"}


def check_figures(catalogue: Catalogue) -> None:
    """Series rows against the frames themselves, by the functions of facts."""
    everything = catalogue.frames(FrameQuery(retired=None)).frames
    assert [frame.id for frame in everything] == [frame.id for frame in in_time_order(everything)]
    ids = {frame.series for frame in everything if frame.series}
    found = catalogue.series(ids=ids)
    assert {series.id for series in found} == ids == {row["id"] for row in dump(catalogue.path)["series"]}
    for series in found:
        members = [frame for frame in everything if frame.series == series.id]
        live = [frame for frame in members if not frame.retired]
        assert {series_key(frame) for frame in members} == {series_key(members[0])}
        assert all(in_series(frame.exposure_s, series.exposure_s) for frame in members)
        assert (series.count, series.retired_count) == (len(live), len(members) - len(live))
        spread = temperatures_of(frame.temperature_c for frame in live)
        assert series.temperatures.unknown == spread.unknown
        assert (series.temperatures.min_c, series.temperatures.max_c) == (spread.min_c, spread.max_c)
        assert series.temperatures.median_c == pytest.approx(spread.median_c)
        assert series.seconds == pytest.approx(seconds_of(live))
        moments = [frame.taken_at for frame in live if frame.taken_at]
        assert (series.first_at, series.last_at) == (min(moments, default=None), max(moments, default=None))
        assert catalogue.series_frames([series.id])[series.id] == in_time_order(live)


@given(history=runs)
@settings(max_examples=30)
def test_one_by_one_or_all_at_once(pair: tuple[Catalogue, Catalogue], history: Runs) -> None:
    same_by_any_grouping(pair, history)


@pytest.mark.long
@pytest.mark.timeout(900)
@given(history=runs)
@settings(max_examples=1500)
def test_one_by_one_or_all_at_once_many_times(pair: tuple[Catalogue, Catalogue], history: Runs) -> None:
    same_by_any_grouping(pair, history)


def test_a_batch_cut_off_anywhere_is_finished_by_the_next(pair: tuple[Catalogue, Catalogue]) -> None:
    whole = [stored(number, exposure_s=40.0 + number % 3) for number in range(40)]
    reference = emptied(pair[1])
    applied(reference, whole)
    for cut in (1, 13, 39):
        catalogue = emptied(pair[0])
        applied(catalogue, whole[:cut])
        applied(catalogue, whole[cut:])
        assert dump(catalogue.path) == dump(reference.path)


def test_a_series_that_empties_is_gone_for_the_next_frame_of_the_same_batch(tmp_path: Path) -> None:
    # 40.0 takes 40.9 but not 41.8; once its only frame is elsewhere, 30.9 begins a series that does take it.
    history = [
        stored("a", exposure_s=40.0),
        e.Stated("s1", (sha_of("a"),), "kind", "bias", "", NOW),
        stored("b", exposure_s=40.9),
        stored("c", exposure_s=41.8),
    ]
    with made(tmp_path) as catalogue:
        applied(catalogue, history)
        dark = next(series for series in catalogue.series() if series.kind is Kind.DARK)
        assert (dark.exposure_s, dark.count) == (40.9, 2)
