"""Journal entries become rows: frames, runs, series, files set aside; and nothing changes when they come again."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from catalogue_material import (
    NIGHT,
    NOW,
    SCOPE,
    applied,
    body_id,
    dump,
    ended,
    made,
    one,
    pixel_facts,
    raw,
    record,
    sha_of,
    started,
    stated,
    stored,
)

from darklib.catalogue.catalogue import Catalogue
from darklib.facts import entries as e
from darklib.facts.frame import Combined, FrameWarning, Kind, Statement
from darklib.facts.plain import to_plain
from darklib.facts.resolve import frame_of

A = sha_of("a")


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
    # 2 percent or 1 s: 40.0 takes 40.9, but 41.8, which 40.9 would have taken, begins a series.
    applied(catalogue, [stored("a", exposure_s=40.0), stored("b", exposure_s=40.9), stored("c", exposure_s=41.8)])
    assert one(catalogue, "a").series == one(catalogue, "b").series != one(catalogue, "c").series
    assert {series.exposure_s for series in catalogue.series()} == {40.0, 41.8}


def test_a_frame_that_fits_two_series_goes_to_the_nearer(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", exposure_s=40.0), stored("c", exposure_s=41.6), stored("b", exposure_s=40.9)])
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


def test_what_lies_before_the_position_is_not_looked_at(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a")], offset=100)
    for offset in (100, 50):
        applied(catalogue, [stored("b")], offset=offset)
    assert (catalogue.known(sha_of("b")), catalogue.positions()) == (False, {"run-1.jsonl": 100})


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
