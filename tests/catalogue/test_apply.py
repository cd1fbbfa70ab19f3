"""Journal entries become rows: frames, series, bodies, trains, statements; and nothing changes when they come again."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from catalogue_material import (
    NIGHT,
    NOW,
    SCOPE,
    applied,
    dump,
    ended,
    made,
    pixel_facts,
    raw,
    record,
    sha_of,
    started,
    stored,
)

from darklib.catalogue.catalogue import Catalogue, FrameQuery
from darklib.facts import entries as e
from darklib.facts.frame import Combined, Frame, FrameWarning, Kind, KindFrom, Statement, TemperatureFrom
from darklib.facts.match import BodyChange, TrainChange
from darklib.facts.plain import to_plain
from darklib.facts.resolve import frame_of
from darklib.facts.train import TrainFacts

A = sha_of("a")


def one(catalogue: Catalogue, name: object = "a") -> Frame:
    (frame,) = catalogue.frames_by_id([sha_of(name)])
    return frame


def stated(field: str, value: str | float | None, *names: object, number: str = "s1") -> e.Stated:
    return e.Stated(number, tuple(sha_of(name) for name in names), field, value, "my note", NOW)


def body_id(catalogue: Catalogue, name: object) -> str:
    body = one(catalogue, name).body
    assert body is not None
    return body.id


# frames


def test_a_frame_comes_back_as_facts_resolve_made_it(catalogue: Catalogue) -> None:
    whole = record(
        "a",
        Kind.LIGHT,
        exposure_s=0.0166667,
        sensor_temperature_c=-12.34,
        cfa="RGGB",
        cfa_rows=2,
        cfa_columns=2,
        rotator_deg=181.5,
        focuser_position=10234.0,
        in_camera_subtraction=False,
        row_order="TOP-DOWN",
        black_dn=512.0,
        white_dn=65535.0,
        combined=Combined(20, "median", True, None),
        warnings=(FrameWarning("value_odd", "a value", {"written_s": 1.5}),),
        taken_at=datetime(2026, 10, 3, 21, 0, 0, 123456, tzinfo=UTC),
    )
    applied(catalogue, [e.Stored(whole)])
    frame = one(catalogue)
    expected = frame_of(whole, series=frame.series)
    assert frame == replace(expected, exposure_s=0.016667)
    assert catalogue.record(A) == whole


def test_readouts_that_differ_only_in_black_level_are_one_row_and_keep_their_levels(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", black_dn=511.0), stored("b", black_dn=513.5)])
    assert [one(catalogue, name).readout.black_dn for name in "ab"] == [511.0, 513.5]
    assert len(raw(catalogue.path, "SELECT 1 FROM readouts")) == 1


def test_a_frame_without_time_body_train_exposure_or_kind_is_kept(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", None, at=None, model=None, exposure_s=None, sensor_temperature_c=None)])
    frame = one(catalogue)
    assert (frame.kind, frame.body, frame.train, frame.exposure_s, frame.night, frame.temperature_c) == (None,) * 6
    assert frame.series is not None
    assert frame.series.startswith("undated-")
    assert [warning.code for warning in frame.warnings] == ["time_missing"]


@pytest.mark.parametrize("exposure_s", [float("nan"), float("inf"), 1e300])
def test_an_impossible_exposure_is_unknown_and_stops_nothing(catalogue: Catalogue, exposure_s: float) -> None:
    applied(catalogue, [stored("a", exposure_s=exposure_s), stored("b")])
    assert one(catalogue).exposure_s is None
    assert one(catalogue, "b").exposure_s == 300.0


@pytest.mark.parametrize("at", [datetime(1, 1, 1, tzinfo=UTC), datetime(9999, 12, 31, 23, tzinfo=UTC)])
def test_a_time_at_the_end_of_the_calendar_is_unknown_and_stops_nothing(catalogue: Catalogue, at: datetime) -> None:
    zone = "Etc/GMT+12" if at.year == 1 else "Etc/GMT-12"
    applied(catalogue, [stored("a", Kind.LIGHT, Statement("target", "M 33"), at=at, zone=zone), stored("b")])
    assert (one(catalogue).taken_at, one(catalogue).night, one(catalogue).target) == (None, None, "M 33")
    applied(catalogue, [stated("clock_shift_s", 1e18, "b")], run="run-2")
    assert one(catalogue, "b").taken_at is None
    applied(catalogue, [e.Unstated("s1", NOW)], run="run-3")
    assert one(catalogue, "b").taken_at == NIGHT


def test_the_same_content_again_is_one_frame_with_two_sources(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a")])
    applied(catalogue, [stored("a", path="frames/other.fits", source_path="/other/card/a.fits")], run="run-2")
    assert [source.path for source in catalogue.sources(A)] == ["/card/a.fits", "/other/card/a.fits"]
    assert one(catalogue).path == "frames/a.fits"
    assert catalogue.counts()["frames"] == 1


def test_seen_adds_a_place_once(catalogue: Catalogue) -> None:
    seen = e.Seen(A, "/backup/a.fits", NOW)
    applied(catalogue, [stored("a"), seen, seen])
    applied(catalogue, [seen], run="run-2")
    assert [(source.path, source.run) for source in catalogue.sources(A)] == [
        ("/card/a.fits", "run-1"),
        ("/backup/a.fits", "run-1"),
    ]


def test_a_path_may_hold_another_content_later(catalogue: Catalogue) -> None:
    # In place: the user's program wrote another picture over the file, and it was catalogued again.
    applied(catalogue, [stored("a", path="/p/a.fits", in_place=True), stored("b", path="/p/a.fits", in_place=True)])
    assert {found.name for found in catalogue.candidates("/p/a.fits")} == {A[:16], sha_of("b")[:16]}


# runs


def test_runs_tell_what_they_did_and_whether_they_ended(catalogue: Catalogue) -> None:
    applied(catalogue, [started("run-1"), stored("a"), ended("run-1")])
    applied(catalogue, [started("run-2", "amend")], run="run-2")
    second, first = catalogue.runs()
    assert (second.run, second.command, second.ended_at) == ("run-2", "amend", None)
    assert (first.run, first.arguments, first.started_at, first.counts) == ("run-1", ("CARD",), NOW, {"stored": 1})
    assert catalogue.positions() == {"run-1.jsonl": 3, "run-2.jsonl": 1}


# series


def test_exposures_are_compared_with_the_series_own_and_do_not_chain(catalogue: Catalogue) -> None:
    # 2 percent or 1 s: 30.0 takes 30.9, but 31.8, which 30.9 would have taken, begins a series.
    applied(catalogue, [stored("a", exposure_s=30.0), stored("b", exposure_s=30.9), stored("c", exposure_s=31.8)])
    assert one(catalogue, "a").series == one(catalogue, "b").series != one(catalogue, "c").series
    assert {series.exposure_s for series in catalogue.series()} == {30.0, 31.8}


def test_a_frame_that_fits_two_series_goes_to_the_nearer(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", exposure_s=30.0), stored("c", exposure_s=31.6), stored("b", exposure_s=30.9)])
    assert one(catalogue, "b").series == one(catalogue, "c").series


def test_the_figures_of_a_series(catalogue: Catalogue) -> None:
    applied(
        catalogue,
        [
            stored("a", sensor_temperature_c=-10.0),
            stored("b", sensor_temperature_c=-9.0, at=NIGHT + timedelta(minutes=5)),
            stored("c", sensor_temperature_c=-4.5, at=NIGHT + timedelta(minutes=10)),
            stored("d", sensor_temperature_c=None, at=None, exposure_s=301.0),
            stored("e", sensor_temperature_c=30.0, at=NIGHT + timedelta(minutes=20)),
        ],
    )
    applied(catalogue, [e.Retired((sha_of("e"),), "dew", NOW)], run="run-2")
    dated, undated = catalogue.series()
    assert (dated.count, dated.retired_count, dated.seconds) == (3, 1, 900.0)
    spread = dated.temperatures
    assert (spread.min_c, spread.median_c, spread.max_c, spread.unknown) == (-10.0, -9.0, -4.5, 0)
    assert (dated.first_at, dated.last_at) == (NIGHT, NIGHT + timedelta(minutes=10))
    assert (undated.count, undated.temperatures.unknown, undated.first_at, undated.night) == (1, 1, None, None)
    assert catalogue.counts()["bytes"] == 5 * 5760


def test_the_median_temperature_of_an_even_number_lies_between(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", sensor_temperature_c=-10.0), stored("b", sensor_temperature_c=-9.99)])
    (series,) = catalogue.series()
    assert series.temperatures.median_c == pytest.approx(-9.995)


def test_series_of_one_night_whose_names_meet_get_different_ids(
    catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    def two_names_only(key: str, exposure_s: float | None, night: str | None) -> str:
        return f"{night}-" + ("bbbbb" if not key[-1].isdecimal() else "ccccc")

    monkeypatch.setattr("darklib.catalogue.series.series_id", two_names_only)
    applied(catalogue, [stored("a"), stored("b", Kind.BIAS)])
    assert {series.id for series in catalogue.series()} == {"2026-10-03-bbbbb", "2026-10-03-ccccc"}


def test_darks_belong_to_no_train_filter_or_target(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", train=SCOPE, filter="L", target="cap on"), stored("b")])
    (series,) = catalogue.series()
    assert (series.train, series.filter, series.target, series.count) == (None, None, None, 2)
    assert catalogue.trains() == []


# statements


@pytest.mark.parametrize(
    ("field", "value", "attribute", "after"),
    [
        ("kind", "flat", "kind", Kind.FLAT),
        ("temperature_c", -15.0, "temperature_c", -15.0),
        ("target", "M 33", "target", "M 33"),
        ("filter", "Ha", "filter", "Ha"),
        ("taken_at", "2026-10-05T22:00:00+00:00", "night", "2026-10-05"),
        ("clock_shift_s", 86400.0, "night", "2026-10-04"),
        ("exposure_s", 60.0, "exposure_s", 60.0),
    ],
)
def test_a_statement_holds_until_it_is_undone(
    catalogue: Catalogue, field: str, value: str | float, attribute: str, after: object
) -> None:
    applied(catalogue, [stored("a", Kind.LIGHT), stored("b", Kind.LIGHT)])
    before, rows = one(catalogue), dump(catalogue.path, {"runs", "statements"})
    applied(catalogue, [stated(field, value, "a")], run="run-2")
    assert getattr(one(catalogue), attribute) == after
    assert catalogue.statement_frames("s1") == [A]
    (row,) = catalogue.statements(A)
    assert (row.field, row.value, row.note, row.at, row.run, row.undone_by) == (
        field,
        value,
        "my note",
        NOW,
        "run-2",
        None,
    )
    applied(catalogue, [e.Unstated("s1", NOW)], run="run-3")
    assert one(catalogue) == before
    assert dump(catalogue.path, {"runs", "statements"}) == rows
    assert [row.undone_by for row in catalogue.statements(A)] == ["run-3"]
    assert catalogue.statement_frames("s1") == []


def test_old_values_are_kept_beside_new_ones(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", Kind.LIGHT)])
    changes = [("target", "M 33"), ("target", None), ("train", "my scope"), ("body", "spare"), ("kind", "flat")]
    for number, (field, value) in enumerate(changes):
        applied(catalogue, [stated(field, value, "a", number=f"s{number}")], run=f"run-{number + 2}")
    assert [(row.field, row.old, row.value) for row in catalogue.statements(A)] == [
        ("target", "M 31", "M 33"),
        ("target", "M 33", None),
        ("train", "Linden 80 480 mm", "my scope"),
        ("body", "A 26 (0042)", "spare"),
        ("kind", "light", "flat"),
    ]
    assert one(catalogue).target == "M 31"


def test_amending_moves_a_frame_and_an_empty_series_goes(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a"), stored("b", Kind.BIAS)])
    applied(catalogue, [stated("kind", "bias", "a")], run="run-2")
    (series,) = catalogue.series()
    assert (series.kind, series.count) == (Kind.BIAS, 2)
    assert raw(catalogue.path, "SELECT count(*) FROM series") == [(1,)]
    frame = one(catalogue)
    assert (frame.kind, frame.kind_from, frame.kind_confidence) == (Kind.BIAS, KindFrom.USER, 1.0)


def test_what_was_stated_on_taking_in_has_a_number_to_undo_it_by(catalogue: Catalogue) -> None:
    statements = (Statement("kind", "light"), Statement("target", "M 33"))
    applied(catalogue, [started("run-1"), stored("a", None, *statements)])
    assert one(catalogue).kind is Kind.LIGHT
    rows = catalogue.statements(A)
    assert [(row.statement, row.old, row.at) for row in rows] == [
        (f"run-1/{A[:16]}/kind", None, NOW),
        (f"run-1/{A[:16]}/target", None, NOW),
    ]
    applied(catalogue, [e.Unstated(rows[0].statement, NOW)], run="run-2")
    assert (one(catalogue).kind, one(catalogue).target) == (None, "M 33")


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("kind", "galaxy"),
        ("temperature_c", "cold"),
        ("taken_at", "yesterday"),
        ("exposure_s", "inf"),
        ("colour", "red"),
    ],
)
def test_a_statement_that_means_nothing_is_kept_and_has_no_effect(catalogue: Catalogue, field: str, value: str) -> None:
    applied(catalogue, [stored("a")])
    before = one(catalogue)
    applied(catalogue, [stated(field, value, "a")], run="run-2")
    assert one(catalogue) == before
    assert catalogue.statements(A)[0].value == value


def test_a_stated_temperature_is_the_users(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", sensor_temperature_c=None), stated("temperature_c", 4.5, "a")])
    assert (one(catalogue).temperature_c, one(catalogue).temperature_from) == (4.5, TemperatureFrom.USER)


# retiring


def test_retired_frames_are_kept_and_come_back(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a"), stored("b")])
    applied(catalogue, [e.Retired((A,), "trails", NOW)], run="run-2")
    assert one(catalogue).retired
    assert [frame.sha256 for frame in catalogue.frames(FrameQuery()).frames] == [sha_of("b")]
    (series,) = catalogue.series()
    assert (series.count, series.retired_count) == (1, 1)
    assert len(catalogue.series_frames([series.id])[series.id]) == 1
    applied(catalogue, [e.Restored((A,), NOW + timedelta(minutes=1))], run="run-3")
    assert not one(catalogue).retired
    rows = [(row.statement, row.field, row.old, row.value, row.note) for row in catalogue.statements(A)]
    assert rows == [("", "retired", False, True, "trails"), ("", "retired", True, False, "")]


def test_a_retired_frame_stays_retired_when_it_is_amended(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a"), e.Retired((A,), "", NOW), stated("kind", "bias", "a")])
    assert (one(catalogue).retired, one(catalogue).kind) == (True, Kind.BIAS)
    assert catalogue.series() == []
    counted = {name: count for name, count in catalogue.counts().items() if count}
    assert counted == {"frames": 1, "retired": 1, "bytes": 5760}


# measurements


def test_the_newest_measurement_counts(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", measured=pixel_facts(2, 700.0))])
    applied(catalogue, [e.Measured(A, to_plain(pixel_facts(1, 100.0)))], run="run-2")
    assert one(catalogue).median_dn == 700.0
    applied(catalogue, [e.Measured(A, to_plain(pixel_facts(3, 900.0)))], run="run-3")
    assert one(catalogue).median_dn == 900.0
    assert catalogue.record(A).measured == pixel_facts(3, 900.0)
    assert raw(catalogue.path, "SELECT version FROM measurements ORDER BY version") == [(1,), (2,), (3,)]


def test_a_measurement_that_changes_the_readout_moves_the_frame(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", measured=pixel_facts(1)), stored("b", measured=pixel_facts(1))])
    applied(catalogue, [e.Measured(A, to_plain(pixel_facts(2, dn_step=4)))], run="run-2")
    assert one(catalogue).series != one(catalogue, "b").series
    assert one(catalogue).readout.dn_step == 4


# bodies


def test_bodies_are_named_joined_and_changed(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", serial=None), stored("b"), stored("c", model="B 9", serial=None)])
    plain, numbered = body_id(catalogue, "a"), body_id(catalogue, "b")
    changed = e.BodyChanged(plain, "remapped", "by the maker", NOW)
    applied(catalogue, [e.BodyNamed(numbered, "old faithful", NOW), changed], run="run-2")
    applied(catalogue, [e.BodiesJoined(plain, numbered, NOW)], run="run-3")
    assert body_id(catalogue, "a") == numbered
    assert one(catalogue, "a").series == one(catalogue, "b").series
    row = next(row for row in catalogue.bodies() if row.ref.id == numbered)
    assert (row.ref.label, row.frames, row.joined) == ("old faithful", 2, (plain,))
    assert row.changes == (BodyChange(numbered, "remapped", NOW),)
    assert catalogue.body_changes(plain) == [BodyChange(plain, "remapped", NOW)]
    assert {row.ref.model for row in catalogue.bodies()} == {"A 26", "B 9"}
    applied(catalogue, [stored("d", serial=None)], run="run-4")
    assert body_id(catalogue, "d") == numbered


def test_a_chain_of_joins_is_followed_and_a_ring_is_not_closed(catalogue: Catalogue) -> None:
    applied(catalogue, [stored(name, serial=name) for name in ("a", "b", "c")])
    first, second, third = (body_id(catalogue, name) for name in ("a", "b", "c"))
    joins = [e.BodiesJoined(first, second, NOW), e.BodiesJoined(second, third, NOW), e.BodiesJoined(third, first, NOW)]
    applied(catalogue, joins, run="run-2")
    assert {body_id(catalogue, name) for name in ("a", "b", "c")} == {third}
    applied(catalogue, [e.BodiesJoined(first, first, NOW)], run="run-3")
    assert {body_id(catalogue, name) for name in ("a", "b", "c")} == {third}


def test_a_stated_body_is_found_by_id_by_label_or_made(catalogue: Catalogue) -> None:
    applied(catalogue, [stored(name) for name in "abcd"])
    known = body_id(catalogue, "a")
    applied(catalogue, [stored("e", model=None)], run="run-2")
    for number, (name, text) in enumerate([("e", known), ("b", "a 26 (0042)"), ("c", "spare camera")]):
        applied(catalogue, [stated("body", text, name, number=f"s{number}")], run=f"run-3{number}")
    assert (body_id(catalogue, "e"), body_id(catalogue, "b")) == (known, known)
    made_one = one(catalogue, "c").body
    assert made_one is not None
    assert (made_one.label, made_one.id.startswith("spare-camera-")) == ("spare camera", True)
    # A later naming does not change what the statement meant.
    applied(catalogue, [e.BodyNamed(known, "number one", NOW), stated("filter", "L", "b", number="s9")], run="run-4")
    assert body_id(catalogue, "b") == known


# trains


def test_trains_are_compared_with_the_trains_own_facts(catalogue: Catalogue) -> None:
    # 1 percent of 480 mm: 484 is this train, 488 would only be through 484.
    focal = {"a": 480.0, "b": 484.0, "c": 488.0}
    applied(catalogue, [stored(n, Kind.LIGHT, train=TrainFacts("Linden 80", mm)) for n, mm in focal.items()])
    trains = [one(catalogue, name).train for name in focal]
    assert trains[0] == trains[1] != trains[2]
    assert [(row.facts.focal_length_mm, row.nights) for row in catalogue.trains()] in (
        [(480.0, ("2026-10-03",)), (488.0, ("2026-10-03",))],
        [(488.0, ("2026-10-03",)), (480.0, ("2026-10-03",))],
    )


def test_short_lenses_that_differ_and_round_alike_do_not_clash(catalogue: Catalogue) -> None:
    # 1 percent of 20 mm is 0.2 mm, so these two are not alike; yet both round to the fingerprint of 20 mm.
    applied(catalogue, [stored("a", Kind.LIGHT, train=TrainFacts("Lens", 19.6))])
    applied(catalogue, [stored("b", Kind.LIGHT, train=TrainFacts("Lens", 20.4))], run="run-2")
    assert one(catalogue, "a").train == one(catalogue, "b").train


def test_a_train_that_was_changed(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", Kind.FLAT)])
    train = one(catalogue).train
    assert train is not None
    change = e.TrainChanged(train.fingerprint, "camera turned", NOW)
    applied(catalogue, [change], run="run-2")
    applied(catalogue, [change], run="run-2", offset=9)
    expected = TrainChange(train.fingerprint, NOW, "camera turned")
    assert catalogue.train_changes(train.fingerprint) == [expected]
    (row,) = catalogue.trains()
    assert (row.changes, row.facts) == ((expected,), SCOPE)


# set aside


def test_files_set_aside_are_known_by_content_until_settled(catalogue: Catalogue) -> None:
    aside = e.SetAside(A, "/card/x.cr2", "set-aside/run-1/x.cr2", "truncated", "too short", "0.1.0")
    applied(catalogue, [aside])
    row = catalogue.set_aside_known(A)
    assert row is not None
    assert (row.code, row.run) == ("truncated", "run-1")
    assert catalogue.set_aside_known(sha_of("b")) is None
    applied(catalogue, [replace(aside, code="damaged", version="0.2.0")], run="run-2")
    assert [(row.code, row.version) for row in catalogue.set_aside()] == [("damaged", "0.2.0")]
    applied(catalogue, [e.SetAsideSettled(A)], run="run-3")
    assert (catalogue.set_aside(), catalogue.set_aside_known(A), catalogue.counts()["set_aside"]) == ([], None, 0)


def test_files_that_could_not_be_read_are_told_apart_by_place(catalogue: Catalogue) -> None:
    places = ["/card/x", "/card/y", "/card/x"]
    applied(catalogue, [e.SetAside("", place, "", "unreadable", "", "0.1.0") for place in places])
    assert [row.source_path for row in catalogue.set_aside()] == ["/card/x", "/card/y"]
    assert catalogue.set_aside_known("") is None


# again, and out of order

EVERYTHING = [
    started("run-1"),
    stored("a", Kind.LIGHT, Statement("target", "M 33")),
    stored("b"),
    stored("c", serial=None),
    e.Seen(A, "/x/a.fits", NOW),
    e.SetAside(sha_of("z"), "/card/z", "set-aside/z", "damaged", "", "0.1.0"),
    stated("temperature_c", -5.0, "a", "b", number="s1"),
    stated("kind", "bias", "b", number="s2"),
    e.Unstated("s1", NOW),
    e.Retired((A,), "trails", NOW),
    e.Restored((A,), NOW + timedelta(seconds=1)),
    e.Measured(A, to_plain(pixel_facts(2, 800.0))),
    e.BodyNamed("a-26-nrzxk", "label", NOW),
    e.BodyChanged("a-26-nrzxk", "cleaned", "", NOW),
    e.TrainChanged("12345678", "turned", NOW),
    e.SetAsideSettled(sha_of("z")),
    ended("run-1"),
]


def test_applying_everything_again_changes_nothing(catalogue: Catalogue) -> None:
    applied(catalogue, EVERYTHING)
    before = dump(catalogue.path)
    applied(catalogue, EVERYTHING, offset=len(EVERYTHING))  # the position says it is done
    assert dump(catalogue.path) == before
    applied(catalogue, EVERYTHING, offset=len(EVERYTHING) + 1)  # the position does not, the content does
    assert dump(catalogue.path, {"runs"}) == {name: rows for name, rows in before.items() if name != "runs"}


def test_a_run_that_was_half_applied_by_another_process_is_finished(catalogue: Catalogue, tmp_path: Path) -> None:
    # A command that opens the library replays what stands in the journal of a run that still goes on.
    half = len(EVERYTHING) // 2
    applied(catalogue, EVERYTHING[:half])
    applied(catalogue, EVERYTHING, offset=len(EVERYTHING))
    with made(tmp_path, "other.sqlite") as whole:
        applied(whole, EVERYTHING)
        assert dump(catalogue.path) == dump(whole.path)


def test_what_is_said_before_a_frame_is_there_takes_effect_when_it_comes(catalogue: Catalogue) -> None:
    said = [
        stated("kind", "bias", "a"),
        e.Retired((A,), "", NOW),
        e.Measured(A, to_plain(pixel_facts(7, 321.0))),
        e.Seen(A, "/x/a.fits", NOW),
    ]
    applied(catalogue, said)
    assert not catalogue.known(A)
    applied(catalogue, [stored("a")], run="run-0")
    frame = one(catalogue)
    assert (frame.kind, frame.retired, frame.median_dn) == (Kind.BIAS, True, 321.0)
    assert {source.path for source in catalogue.sources(A)} == {"/x/a.fits", "/card/a.fits"}


def test_what_is_said_of_bodies_before_they_are_there_takes_effect_when_they_come(
    catalogue: Catalogue, tmp_path: Path
) -> None:
    with made(tmp_path, "other.sqlite") as other:
        applied(other, [stored("a", serial="1"), stored("b", serial="2")])
        first, second = body_id(other, "a"), body_id(other, "b")
    said = [e.BodyNamed(second, "both", NOW), e.BodiesJoined(first, second, NOW)]
    applied(catalogue, [stored("a", serial="1"), *said, stored("b", serial="2"), stored("c", serial="1")])
    assert {body_id(catalogue, name) for name in "abc"} == {second}
    assert [(row.ref.label, row.frames) for row in catalogue.bodies()] == [("both", 3)]


def test_an_entry_of_no_known_sort_is_refused_and_nothing_is_kept(catalogue: Catalogue) -> None:
    with pytest.raises(TypeError, match="not an entry"):
        applied(catalogue, [stored("a"), "nonsense"])  # type: ignore[list-item]
    assert catalogue.counts()["frames"] == 0
    assert catalogue.positions() == {}
