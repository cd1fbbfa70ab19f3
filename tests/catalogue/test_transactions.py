"""One helper begins, commits and rolls back: every mutator alone, inside a transaction, and rolled back."""

import ast
import sqlite3
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from catalogue_material import NOW, applied, dump, ended, made, pixel_facts, raw, sha_of, started, stored

from darklib.catalogue.catalogue import Catalogue
from darklib.facts import entries as e
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Kind, Statement
from darklib.facts.naming import body_id
from darklib.facts.plain import to_plain

A, B = sha_of("a"), sha_of("b")
BODY, PLAIN = body_id("Alder", "A 26", "0042"), body_id("Alder", "A 26", None)

MUTATORS: dict[str, e.Entry] = {
    "run_started": started("run-2", "amend"),
    "stored": stored("c", Kind.LIGHT, Statement("target", "M 33")),
    "seen": e.Seen(A, "/elsewhere/a.fits", NOW),
    "set_aside": e.SetAside(sha_of("x"), "/card/x", "set-aside/x", "damaged", "broken", "0.1.0"),
    "set_aside_settled": e.SetAsideSettled(sha_of("z")),
    "stated": e.Stated("s2", (A,), "kind", "bias", "", NOW),
    "unstated": e.Unstated("s1", NOW),
    "retired": e.Retired((A,), "trails", NOW),
    "restored": e.Restored((B,), NOW),
    "measured": e.Measured(A, to_plain(pixel_facts(2, 900.0))),
    "body_named": e.BodyNamed(BODY, "main camera", NOW),
    "bodies_joined": e.BodiesJoined(PLAIN, BODY, NOW),
    "body_changed": e.BodyChanged(BODY, "cleaned", "", NOW),
    "train_changed": e.TrainChanged("12345678", "turned", NOW),
    "copy_checked": e.CopyChecked("/second", 2, NOW),
    "run_ended": ended("run-2"),
}


@cache
def filled_file() -> bytes:
    with TemporaryDirectory() as folder:
        with made(Path(folder)) as catalogue:
            aside = e.SetAside(sha_of("z"), "/card/z", "set-aside/z", "damaged", "broken", "0.1.0")
            said = [e.Stated("s1", (B,), "filter", "Ha", "", NOW), e.Retired((B,), "", NOW)]
            applied(catalogue, [started("run-1"), stored("a"), stored("b", serial=None), aside, *said])
            assert {row.ref.id for row in catalogue.bodies()} == {BODY, PLAIN}
        return catalogue.path.read_bytes()


@pytest.fixture
def filled(tmp_path: Path) -> Iterator[Catalogue]:
    (tmp_path / "catalogue.sqlite").write_bytes(filled_file())
    with made(tmp_path) as catalogue:
        yield catalogue


def stopped(catalogue: Catalogue, entry: e.Entry, run: str, error: BaseException) -> None:
    """Applies an entry in a transaction that something ends before its end."""
    with catalogue.writing():
        applied(catalogue, [entry], run=run)
        raise error


def test_every_mutator_is_in_the_table() -> None:
    assert set(MUTATORS) == set(e.NAMES)
    assert all(type(entry) is e.NAMES[name] for name, entry in MUTATORS.items())


@pytest.mark.parametrize("name", MUTATORS)
def test_alone_it_is_saved_when_the_call_returns(filled: Catalogue, name: str) -> None:
    before = dump(filled.path)
    applied(filled, [MUTATORS[name]], run="run-2")
    after = dump(filled.path)  # by a second connection, while the first is still open
    assert after["runs"] != before["runs"]
    if name not in ("run_started", "run_ended"):
        assert {table: rows for table, rows in after.items() if table != "runs"} != {
            table: rows for table, rows in before.items() if table != "runs"
        }


@pytest.mark.parametrize("name", MUTATORS)
def test_inside_a_transaction_it_is_saved_with_the_whole(filled: Catalogue, name: str) -> None:
    before = dump(filled.path)
    with filled.writing():
        applied(filled, [MUTATORS[name]], run="run-2")
        assert dump(filled.path) == before
        applied(filled, [e.Seen(B, "/elsewhere/b.fits", NOW)], run="run-3")
    after = dump(filled.path)
    assert {row["id"] for row in after["runs"]} == {"run-1", "run-2", "run-3"}
    assert "/elsewhere/b.fits" in {row["source_path"] for row in after["sources"]}


@pytest.mark.parametrize("name", MUTATORS)
def test_rolled_back_it_leaves_nothing(filled: Catalogue, name: str) -> None:
    before = dump(filled.path)
    with pytest.raises(KeyboardInterrupt):
        stopped(filled, MUTATORS[name], "run-2", KeyboardInterrupt())
    assert dump(filled.path) == before
    assert filled.positions() == {"run-1.jsonl": 6}
    applied(filled, [MUTATORS[name]], run="run-2")  # and the connection is as good as new
    assert filled.positions()["run-2.jsonl"] == 1


def test_a_savepoint_takes_back_its_own_part_only(filled: Catalogue) -> None:
    with filled.writing():
        applied(filled, [stored("c")], run="run-2")
        with pytest.raises(ValueError, match="inner"):
            stopped(filled, stored("d"), "run-3", ValueError("inner"))
        applied(filled, [stored("f")], run="run-4")
    assert filled.known_many([sha_of(name) for name in "cdf"]) == {sha_of("c"), sha_of("f")}


def test_a_failing_entry_takes_its_whole_batch_back(filled: Catalogue, monkeypatch: pytest.MonkeyPatch) -> None:
    before = dump(filled.path)

    def failing(*_: object) -> None:
        raise OSError("the machine is on fire")

    monkeypatch.setattr("darklib.catalogue.series.SeriesBook.finish", failing)
    with pytest.raises(OSError, match="on fire"):
        applied(filled, [stored("c"), stored("d")], run="run-2")
    assert dump(filled.path) == before


def test_nothing_can_be_written_inside_reading(filled: Catalogue) -> None:
    with pytest.raises(RuntimeError, match="cannot become a writing one"), filled.reading():
        applied(filled, [stored("c")], run="run-2")
    assert not filled.known(sha_of("c"))


def test_reading_sees_one_state_and_ends_with_its_block(filled: Catalogue) -> None:
    with filled.reading():
        before = filled.counts()
        raw_before = raw(filled.path, "SELECT count(*) FROM frames")
        assert raw_before == [(before["frames"],)]
        assert filled.known(A)
    applied(filled, [stored("c")], run="run-2")
    assert filled.counts()["frames"] == before["frames"] + 1


def test_nothing_else_in_the_room_commits_or_begins(repository: Path) -> None:
    allowed = {"transaction.py": {"begin", "commit", "rollback", "begin_nested"}, "schema.py": {"begin"}}
    for file in sorted((repository / "darklib" / "catalogue").glob("*.py")):
        called = {
            node.func.attr
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
        }
        found = called & {"begin", "commit", "rollback", "begin_nested", "autocommit"}
        assert found <= allowed.get(file.name, set()), file.name


def test_a_row_that_is_missing_is_damage_of_the_catalogue_and_no_mistake_of_the_program(filled: Catalogue) -> None:
    assert filled.series()
    with sqlite3.connect(filled.path) as plain:
        plain.execute("PRAGMA foreign_keys = OFF")
        plain.execute("DELETE FROM bodies")
    plain.close()
    with pytest.raises(DarklibError, match="refers to a missing row of bodies") as caught:
        filled.series()
    assert caught.value.code == "catalogue_damaged"
    assert "darklib rebuild" in str(caught.value.remedy)


def test_another_lookup_that_fails_stays_what_it_is(filled: Catalogue) -> None:
    with pytest.raises(KeyError, match="mistake"), filled.reading():
        raise KeyError("mistake")
