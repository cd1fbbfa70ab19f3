"""A run of lights is one night and morning flats are of the night before, however and in whatever order they come."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from catalogue_material import NOW, applied, dump, emptied, made, one, sha_of, stated, stored
from hypothesis import given, note, settings
from hypothesis import strategies as st

from darklib.catalogue.catalogue import Catalogue, FrameQuery
from darklib.facts import entries as e
from darklib.facts.frame import Kind, Statement
from darklib.facts.night import Shot, nights_of
from darklib.facts.resolve import night_by_itself, shot_early
from darklib.facts.units import instant_us

NOON = datetime(2026, 10, 4, 12, 0, tzinfo=UTC)


def at(hours: float) -> datetime:
    """Hours from the noon between the nights of 3 and 4 October."""
    return NOON + timedelta(hours=hours)


def night(catalogue: Catalogue, name: object) -> str | None:
    found: str | None = one(catalogue, name).night
    return found


@pytest.fixture
def catalogue(tmp_path: Path) -> Iterator[Catalogue]:
    with made(tmp_path) as found:
        yield found


RUN = [stored(f"light {minutes}", Kind.LIGHT, at=at(minutes / 60)) for minutes in range(-90, 90, 10)]


@pytest.mark.parametrize("order", ["as shot", "backwards", "halves", "one by one"])
def test_an_unbroken_run_of_lights_is_one_night(catalogue: Catalogue, order: str) -> None:
    if order == "halves":
        applied(catalogue, RUN[9:])
        assert night(catalogue, "light 10") == "2026-10-04"
        applied(catalogue, RUN[:9])
    elif order == "one by one":
        for entry in RUN:
            applied(catalogue, [entry])
    else:
        applied(catalogue, RUN if order == "as shot" else RUN[::-1])
    (series,) = catalogue.series()
    assert (series.night, series.count) == ("2026-10-03", len(RUN))
    assert {frame.night for frame in catalogue.frames(FrameQuery()).frames} == {"2026-10-03"}


def test_a_pause_of_more_than_an_hour_ends_a_run(catalogue: Catalogue) -> None:
    early = [stored(("early", n), Kind.LIGHT, at=at(-2 + n / 10)) for n in range(5)]
    late = [stored(("late", n), Kind.LIGHT, at=at(1 + n / 10)) for n in range(5)]
    applied(catalogue, early + late)
    assert [(series.night, series.count) for series in catalogue.series()] == [("2026-10-03", 5), ("2026-10-04", 5)]
    # One light in between closes the gap for all that follow.
    applied(catalogue, [stored("between", Kind.LIGHT, at=at(-0.6))])
    applied(catalogue, [stored("between too", Kind.LIGHT, at=at(0.3))])
    assert [(series.night, series.count) for series in catalogue.series()] == [("2026-10-03", 12)]


def test_what_is_corrected_moves_the_frames_behind_it_too(catalogue: Catalogue) -> None:
    applied(catalogue, [stored(name, Kind.LIGHT, at=at(hours)) for name, hours in (("a", -0.4), ("b", 0.4), ("c", 1))])
    assert (night(catalogue, "b"), night(catalogue, "c")) == ("2026-10-03", "2026-10-03")
    applied(catalogue, [stated("kind", "dark", "a")])
    assert (night(catalogue, "b"), night(catalogue, "c")) == ("2026-10-04", "2026-10-04")
    applied(catalogue, [e.Unstated("s1", NOW)])
    assert (night(catalogue, "b"), night(catalogue, "c")) == ("2026-10-03", "2026-10-03")
    # The clock had been wrong by twelve hours.
    applied(catalogue, [stated("clock_shift_s", 43200.0, "a", "b", "c", number="s2")])
    assert {night(catalogue, name) for name in "abc"} == {"2026-10-04"}


def test_another_camera_is_another_run(catalogue: Catalogue) -> None:
    applied(
        catalogue,
        [stored("a", Kind.LIGHT, at=at(-0.2), serial="1"), stored("b", Kind.LIGHT, at=at(0.2), serial="2")],
    )
    assert (night(catalogue, "a"), night(catalogue, "b")) == ("2026-10-03", "2026-10-04")
    # They turn out to be one camera.
    ids = [one(catalogue, name).body for name in "ab"]
    assert ids[0] is not None
    assert ids[1] is not None
    applied(catalogue, [e.BodiesJoined(ids[1].id, ids[0].id, NOW)])
    assert night(catalogue, "b") == "2026-10-03"


@pytest.mark.parametrize("lights_first", [True, False])
def test_morning_flats_early_in_the_afternoon(catalogue: Catalogue, lights_first: bool) -> None:
    # Common practice, no single source: flats at the end of the night or the next morning, camera not removed. At
    # 13:30 summer time it is still morning by the Sun.
    lights = [stored(("light", n), Kind.LIGHT, at=at(-9 + n / 10)) for n in range(10)]
    flats = [stored(("flat", n), Kind.FLAT, at=at(1.5 + n / 100), exposure_s=1.0) for n in range(10)]
    for some in (lights, flats) if lights_first else (flats, lights):
        applied(catalogue, some)
    assert {night(catalogue, ("flat", n)) for n in range(10)} == {"2026-10-03"}
    # Lights soon after: then they were shot for those.
    applied(catalogue, [stored("next", Kind.LIGHT, at=at(3.5))])
    assert {night(catalogue, ("flat", n)) for n in range(10)} == {"2026-10-04"}


@pytest.mark.parametrize("hours", [3.5, 6.0])
def test_flats_of_the_evening_are_the_evenings(catalogue: Catalogue, hours: float) -> None:
    applied(catalogue, [stored("light", Kind.LIGHT, at=at(-6)), stored("flat", Kind.FLAT, at=at(hours))])
    assert night(catalogue, "flat") == "2026-10-04"


def test_flats_without_lights_before_them_go_by_the_clock(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("flat", Kind.FLAT, at=at(1.5)), stored("light", Kind.LIGHT, at=at(-15))])
    assert night(catalogue, "flat") == "2026-10-04"


hours = st.one_of(
    st.integers(-30, 30).map(lambda tenths: tenths / 10),
    st.integers(-16, 20).map(float),
    st.sampled_from([-24.5, -23.5, 23.5, 24.5]),
)
names = st.sampled_from("abcdefgh")
stored_entries = st.builds(
    lambda name, kind, when, exposure_s, serial, said: stored(
        name, kind, *said, at=at(when), exposure_s=exposure_s, serial=serial
    ),
    names,
    st.sampled_from([Kind.LIGHT, Kind.LIGHT, Kind.LIGHT, Kind.FLAT, Kind.FLAT, Kind.DARK, None]),
    hours,
    st.sampled_from([1.0, 40.0, 40.7, 41.4, 3600.0, None]),
    st.sampled_from(["1", "1", "2"]),
    st.sampled_from([(), (), (Statement("clock_shift_s", 3600.0),), (Statement("kind", "light"),)]),
)
entries = st.one_of(
    stored_entries,
    stored_entries,
    stored_entries,
    st.builds(
        lambda number, some, said: e.Stated(number, tuple(sha_of(one) for one in some), said[0], said[1], "", NOW),
        st.just(""),
        st.lists(names, min_size=1, max_size=3, unique=True),
        st.sampled_from(
            [("kind", "light"), ("kind", "dark"), ("kind", None), ("clock_shift_s", 43200.0), ("clock_shift_s", None)]
        ),
    ),
)


def by_the_rule(catalogue: Catalogue) -> dict[str, str | None]:
    shots, plain = [], {}
    for frame in catalogue.frames(FrameQuery(retired=None)).frames:
        record = catalogue.record(frame.sha256)
        assert frame.taken_at is not None
        own = night_by_itself(record, frame.taken_at)
        plain[frame.id] = own
        if frame.kind in (Kind.LIGHT, Kind.FLAT):
            exposure_us = None if frame.exposure_s is None else round(frame.exposure_s * 1e6)
            camera, start = frame.body.id if frame.body else None, instant_us(frame.taken_at)
            early = shot_early(record, frame.taken_at)
            shots.append(Shot(frame.id, camera, frame.kind is Kind.LIGHT, start, exposure_us, own, early))
    return {**plain, **nights_of(shots)}


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Catalogue, Catalogue]]:
    folder = tmp_path_factory.mktemp("nights")
    with made(folder, "one.sqlite") as first, made(folder, "other.sqlite") as other:
        yield first, other


def same_and_by_the_rule(pair: tuple[Catalogue, Catalogue], history: Sequence[e.Entry]) -> None:
    # No journal gives out a number twice.
    numbered = enumerate(history)
    history = [replace(one, statement=f"s{n}") if isinstance(one, e.Stated) else one for n, one in numbered]
    note(f"{history}")
    singly, together = (emptied(catalogue) for catalogue in pair)
    for entry in history:
        applied(singly, [entry])
    applied(together, history)
    assert {frame.id: frame.night for frame in together.frames(FrameQuery(retired=None)).frames} == by_the_rule(
        together
    )
    assert dump(singly.path, {"runs"}) == dump(together.path, {"runs"})


@given(st.lists(entries, min_size=1, max_size=12))
@settings(max_examples=40)
def test_nights_are_those_of_the_rule_however_entries_are_grouped(
    pair: tuple[Catalogue, Catalogue], history: Sequence[e.Entry]
) -> None:
    same_and_by_the_rule(pair, history)


@pytest.mark.long
@pytest.mark.timeout(900)
@given(st.lists(entries, min_size=1, max_size=14))
@settings(max_examples=300)
def test_nights_are_those_of_the_rule_many_times(pair: tuple[Catalogue, Catalogue], history: Sequence[e.Entry]) -> None:
    same_and_by_the_rule(pair, history)
