"""What SQLite, SQLAlchemy and Alembic do that nobody expects: each was seen to happen, and each has its test here."""

import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from dataclasses import replace
from pathlib import Path, PurePosixPath, PureWindowsPath

import pytest
from catalogue_material import NOW, applied, dump, made, raw, sha_of, stored
from sqlalchemy import ClauseElement, event, text
from sqlalchemy.dialects import postgresql
from sqlalchemy.exc import IntegrityError
from sqlalchemy.schema import CreateIndex, CreateTable

from darklib.catalogue import address
from darklib.catalogue.catalogue import Catalogue, FrameQuery
from darklib.catalogue.schema import open_catalogue
from darklib.catalogue.tables import Base
from darklib.facts import entries as e
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Kind
from darklib.facts.match import Wanted

# transactions


def test_ddl_and_its_transaction_roll_back_together(tmp_path: Path) -> None:
    # The driver's own mode begins nothing before DDL: the table would stay.
    engine = address.engine_of(tmp_path / "new.sqlite", create=True)

    def stopped_halfway() -> None:
        with engine.begin() as connection:
            connection.execute(text("CREATE TABLE thing (pk INTEGER PRIMARY KEY)"))
            raise ValueError("stop")

    with pytest.raises(ValueError, match="stop"):
        stopped_halfway()
    engine.dispose()
    assert raw(tmp_path / "new.sqlite", "SELECT name FROM sqlite_master") == []


def test_a_writer_says_so_when_it_begins(catalogue: Catalogue) -> None:
    # BEGIN, SELECT, UPDATE fails at once when another process wrote in between, whatever the timeout.
    with catalogue.writing(), closing(sqlite3.connect(catalogue.path, timeout=0.05)) as other:
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")
        catalogue.counts()
    applied(catalogue, [stored("a")])


def test_a_reader_keeps_nobody_from_writing_and_a_writer_nobody_from_reading(
    catalogue: Catalogue, tmp_path: Path
) -> None:
    with made(tmp_path) as other:
        with other.reading():
            assert other.counts()["frames"] == 0
            applied(catalogue, [stored("a")])
            assert other.counts()["frames"] == 0
        with catalogue.writing():
            applied(catalogue, [stored("b")])
            assert other.counts()["frames"] == 1
        assert other.counts()["frames"] == 2


def test_a_waiting_writer_gets_its_turn(catalogue: Catalogue) -> None:
    writes = threading.Event()

    def hold() -> None:
        with closing(sqlite3.connect(catalogue.path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            writes.set()
            threading.Event().wait(0.7)  # longer than one slice of the wait
            other.execute("COMMIT")

    thread = threading.Thread(target=hold)
    thread.start()
    assert writes.wait(10)
    applied(catalogue, [stored("a")])
    thread.join()
    assert catalogue.known(sha_of("a"))


def test_a_wait_that_is_too_long_ends_in_a_sentence(catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(address, "BUSY_S", 0.5)
    with closing(sqlite3.connect(catalogue.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(DarklibError, match="Another darklib is writing") as caught:
            applied(catalogue, [stored("a")])
        assert (caught.value.code, bool(caught.value.remedy)) == ("catalogue_busy", True)
        other.execute("ROLLBACK")
    applied(catalogue, [stored("a")])


# settings of a connection


def test_foreign_keys_are_on_in_every_connection(catalogue: Catalogue) -> None:
    with catalogue._transactions.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA busy_timeout").scalar() == address.BUSY_S * 1000
    applied(catalogue, [stored("a")])
    with pytest.raises(IntegrityError, match="FOREIGN KEY"), catalogue._transactions.writing() as connection:
        connection.execute(text("DELETE FROM series"))


def test_checks_keep_unknown_words_out(catalogue: Catalogue) -> None:
    # Neither Enum nor Boolean makes a CHECK by itself.
    applied(catalogue, [stored("a")])
    for change in ("kind = 'galaxy'", "kind_from = 'guess'", "temperature_from = 'feel'", "retired = 7", "size = -1"):
        with pytest.raises(IntegrityError, match="CHECK"), catalogue._transactions.writing() as connection:
            connection.execute(text(f"UPDATE frames SET {change}"))


# speed and size of statements


def test_more_values_than_a_statement_takes(catalogue: Catalogue) -> None:
    # SQLite takes 32 766 parameters.
    applied(catalogue, [stored("a")])
    many = [sha_of("a"), *(f"{number:064x}" for number in range(33_500))]
    assert catalogue.known_many(many) == {sha_of("a")}
    assert [frame.sha256 for frame in catalogue.frames_by_id(many)] == [sha_of("a")]
    series = catalogue.frames_by_id([sha_of("a")])[0].series
    assert series is not None
    ids = [series, *(f"2026-10-03-{number}" for number in range(33_500))]
    assert len(catalogue.series(ids=ids)) == 1
    assert len(catalogue.series_frames(ids)[series]) == 1
    assert len(catalogue.frames(FrameQuery(series=tuple(ids))).frames) == 1
    applied(catalogue, [e.Retired(tuple(many), "", NOW)], run="run-2")
    assert catalogue.counts()["retired"] == 1


# start-up


def test_opening_a_current_catalogue_loads_no_alembic_and_no_numpy(tmp_path: Path) -> None:
    made(tmp_path).close()
    program = (
        "import sys\n"
        "from pathlib import Path\n"
        "from darklib.catalogue.schema import open_catalogue\n"
        "open_catalogue(Path(sys.argv[1]), Path(sys.argv[1]).parent, create=False).close()\n"
        "print([name for name in ('alembic', 'filelock', 'numpy', 'astropy') if name in sys.modules])\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / "catalogue.sqlite")],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[2],
    )
    assert ran.stdout.strip() == "[]"


# backups and damage


def test_a_backup_beside_an_open_writing_transaction_does_not_wait_for_itself(
    catalogue: Catalogue, tmp_path: Path
) -> None:
    # sqlite3's backup() on a connection with an uncommitted write hangs for ever.
    applied(catalogue, [stored("a")])
    with catalogue.writing():
        applied(catalogue, [stored("b")], run="run-2")
        address.back_up(catalogue.path, tmp_path / "copy.sqlite")
    assert raw(tmp_path / "copy.sqlite", "SELECT count(*) FROM frames") == [(1,)]


def test_a_backup_holds_what_is_still_in_the_write_ahead_log(catalogue: Catalogue, tmp_path: Path) -> None:
    applied(catalogue, [stored("a")])
    assert Path(f"{catalogue.path}-wal").stat().st_size > 0
    address.back_up(catalogue.path, tmp_path / "copy.sqlite")
    plain_copy = tmp_path / "plain.sqlite"
    plain_copy.write_bytes(catalogue.path.read_bytes())
    assert raw(plain_copy, "SELECT count(*) FROM frames") == [(0,)]  # what copying the file alone would have kept
    assert dump(tmp_path / "copy.sqlite") == dump(catalogue.path)


def damage(path: Path, first: int, last: int) -> None:
    """Flips bits in every byte of some pages."""
    content = bytearray(path.read_bytes())
    content[first * 4096 : last * 4096] = bytes(byte ^ 0xA5 for byte in content[first * 4096 : last * 4096])
    path.write_bytes(content)


def test_damage_in_rows_is_found(tmp_path: Path) -> None:
    with made(tmp_path) as catalogue:
        applied(catalogue, [stored(number) for number in range(50)])
        assert catalogue.integrity() == "ok"
    path = tmp_path / "catalogue.sqlite"
    pages = path.stat().st_size // 4096
    damage(path, pages - 12, pages)
    with made(tmp_path) as catalogue:
        assert catalogue.integrity() != "ok"


def test_damage_that_stops_a_query_is_told_with_the_way_out(tmp_path: Path) -> None:
    with made(tmp_path) as catalogue:
        applied(catalogue, [stored(number) for number in range(50)])
    damage(tmp_path / "catalogue.sqlite", 20, 10**6)

    def use() -> None:
        with made(tmp_path) as catalogue:
            catalogue.frames(FrameQuery())
            catalogue.find(sha_of(1))
            catalogue.bodies()

    with pytest.raises(DarklibError, match="catalogue cannot be used") as caught:
        use()
    assert caught.value.code == "catalogue_damaged"
    assert "darklib rebuild" in caught.value.remedy


@pytest.mark.parametrize("content", [b"SIMPLE  =                    T", b"\0" * 8192])
def test_a_file_that_is_no_database_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "catalogue.sqlite"
    path.write_bytes(content)
    with pytest.raises(DarklibError, match="cannot be used") as caught:
        open_catalogue(path, tmp_path, create=True)
    assert (caught.value.code, path.read_bytes()) == ("catalogue_damaged", content)


def test_a_database_of_somebody_else_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "catalogue.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    with pytest.raises(DarklibError, match="other tables than darklib's"):
        open_catalogue(path, tmp_path, create=True)
    assert raw(path, "SELECT name FROM sqlite_master") == [("recipes",)]


def test_a_broken_reference_is_found_though_integrity_check_finds_none(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a")])
    with closing(sqlite3.connect(catalogue.path)) as other:
        other.execute("UPDATE frames SET readout = 99")
        other.commit()
        assert other.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert catalogue.integrity() == "row 1 of frames refers to a missing row of readouts"


# network shares

# The example of proc(5), "/proc/pid/mountinfo", with mounts of our own in the same form.
MOUNTS = r"""36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue
22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
40 22 0:35 / /mnt/nas rw - nfs4 nas:/export rw
41 22 0:36 / /mnt/my\040share rw - cifs //server/share rw
42 40 0:37 / /mnt/nas/local rw - xfs /dev/sdb1 rw
43 22 0:38 / /home/me/remote rw - fuse.sshfs me@host:/ rw
"""


@pytest.mark.parametrize(
    ("path", "sort", "network"),
    [
        ("/home/me/lib/catalogue.sqlite", "ext4", False),
        ("/mnt/nas/lib/catalogue.sqlite", "nfs4", True),
        ("/mnt/nas/local/lib/catalogue.sqlite", "xfs", False),
        ("/mnt/nas2/catalogue.sqlite", "ext4", False),
        ("/mnt/my share/catalogue.sqlite", "cifs", True),
        ("/home/me/remote/catalogue.sqlite", "fuse.sshfs", True),
        ("/mnt2/catalogue.sqlite", "ext3", False),
    ],
)
def test_network_shares_are_told_from_disks(path: str, sort: str, network: bool) -> None:
    assert address.file_system_of(PurePosixPath(path), MOUNTS) == sort
    assert (address.NETWORK_FILE_SYSTEMS.match(sort) is not None) is network


def test_windows_shares_are_known_by_their_names() -> None:
    assert address.on_network(PureWindowsPath(r"\\nas\astro\catalogue.sqlite"))


def test_on_a_share_the_catalogue_keeps_no_write_ahead_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made(tmp_path).close()
    monkeypatch.setattr(address, "on_network", lambda _path: True)
    with made(tmp_path) as catalogue, catalogue._transactions.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "delete"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2
    monkeypatch.setattr(address, "on_network", lambda _path: False)
    with made(tmp_path) as catalogue, catalogue._transactions.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"


def test_a_catalogue_that_may_only_be_read_says_so_when_it_is_written(catalogue: Catalogue) -> None:
    with catalogue._transactions.reading() as connection:
        pass
    connection.exec_driver_sql("PRAGMA query_only = ON")
    connection.rollback()
    with pytest.raises(DarklibError, match="may not be written to"):
        applied(catalogue, [stored("a")])


# other databases


def test_tables_and_queries_compile_for_postgresql(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", Kind.LIGHT), stored("b")])
    (light,) = catalogue.series(Kind.LIGHT)
    statements: list[ClauseElement] = []

    def keep(_connection: object, statement: ClauseElement, *_: object) -> None:
        if isinstance(statement, ClauseElement):
            statements.append(statement)

    event.listen(catalogue._engine, "before_execute", keep)
    applied(catalogue, [stored("c"), e.Retired((sha_of("a"),), "", NOW), e.Unstated("s1", NOW)], run="run-2")
    ranges = FrameQuery(Kind.LIGHT, None, "2026-01-01", "2026-12-31", 1, 2, 3, 4, "L", None, "M 31", series=(light.id,))
    catalogue.frames(replace(ranges, limit=3, after=sha_of("a")[:16], undecided=True))
    catalogue.wanted(Wanted(Kind.DARK, "x", 1, 2, 3, 4, "y", "z", NOW))
    catalogue.wanted(Wanted(Kind.DARK))
    catalogue.series_frames([light.id])
    catalogue.light_series("x", "y")
    for ask in (catalogue.bodies, catalogue.trains, catalogue.counts, catalogue.runs, catalogue.set_aside):
        ask()
    catalogue.candidates("abcd", "2026-10-03-b", "/card/a.fits")
    dialect = postgresql.dialect()  # type: ignore[no-untyped-call]
    assert len(statements) > 40
    for statement in statements:
        statement.compile(dialect=dialect)
    for made_table in Base.metadata.sorted_tables:
        CreateTable(made_table).compile(dialect=dialect)
        for index in made_table.indexes:
            CreateIndex(index).compile(dialect=dialect)
