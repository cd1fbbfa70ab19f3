"""What is said of frames, bodies and trains: statements, retiring, measurements, names, joins and changes."""

from datetime import timedelta

import pytest
from catalogue_material import (
    NOW,
    SCOPE,
    applied,
    body_id,
    dump,
    one,
    pixel_facts,
    raw,
    sha_of,
    started,
    stated,
    stored,
)

from darklib.catalogue.catalogue import Catalogue, FrameQuery
from darklib.facts import entries as e
from darklib.facts.frame import Kind, KindFrom, Statement, TemperatureFrom
from darklib.facts.match import BodyChange, TrainChange
from darklib.facts.plain import to_plain
from darklib.facts.train import TrainFacts

A = sha_of("a")


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


def test_a_number_that_is_used_twice_stands_for_two_statements(catalogue: Catalogue) -> None:
    """No command does so, but a journal put together by hand may: nothing that was said is lost, nor undone unasked."""
    a, b = sha_of("a"), sha_of("b")
    first = e.Stated("s1", (a,), "filter", "Ha", "", NOW)
    second = e.Stated("s1", (a, b), "target", "M 33", "", NOW)
    applied(catalogue, [started("run-1"), stored("a", Kind.LIGHT), stored("b", Kind.LIGHT), first, second])

    def held() -> list[tuple[str | None, str | None]]:
        return [(frame.filter, frame.target) for frame in catalogue.frames_by_id([a, b])]

    before = held()
    assert before[0] == ("Ha", "M 33")
    assert before[1][1] == "M 33"
    applied(catalogue, [first, second], offset=1000)
    assert held() == before, "the same lines again change nothing"
    numbers = {row.field: row.statement for row in catalogue.statements(a)}
    assert len(set(numbers.values())) == 2
    applied(catalogue, [e.Unstated(numbers["target"], NOW)], run="run-2")
    assert held()[0][0] == "Ha"
    assert "M 33" not in {target for _, target in held()}


def test_of_each_second_copy_the_newest_check_is_kept(catalogue: Catalogue) -> None:
    later = NOW + timedelta(days=2)
    checks = [e.CopyChecked("/second", 3, NOW), e.CopyChecked("/third", 4, NOW), e.CopyChecked("/second", 5, later)]
    applied(catalogue, [started("run-1"), *checks])
    applied(catalogue, checks, offset=1000)
    assert [(row.copy, row.frames, row.at) for row in catalogue.copies_checked()] == [
        ("/second", 5, later),
        ("/third", 4, NOW),
    ]


def test_frames_in_place_are_counted(catalogue: Catalogue) -> None:
    applied(catalogue, [started("run-1"), stored("a"), stored("b", in_place=True), stored("c", in_place=True)])
    assert catalogue.frames_in_place() == 2
