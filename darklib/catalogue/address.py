"""Where the catalogue is and how it is spoken to. Everything that only SQLite does stays in this file."""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path, PurePath
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool

from darklib.facts.errors import DarklibError

BUSY_S = 30.0
"""How long a command waits for another one that is writing, before it gives up."""

_SLICE_S = 0.25
"""A waiting writer asks anew this often: SQLite's own wait cannot be ended by Ctrl-C."""

NETWORK_FILE_SYSTEMS = re.compile(
    r"(nfs\d?|cifs|smb\w*|9p|afs|ncpfs|vboxsf|vmhgfs|davfs|(fuse\.)?(sshfs|rclone|s3fs|glusterfs).*)\Z"
)
"""Sorts of file systems on which several machines, or a machine and its guest, share files but no memory."""

PARAMETERS = 30_000
"""Most values in one statement; SQLite takes 32 766."""


def file_uri(path: Path, mode: str) -> str:
    """The path as SQLite's URI: `?`, `#` and `%` in names stay part of the name. mode: ro, rw or rwc (create)."""
    uri = path.absolute().as_uri()
    if not uri.startswith("file:///"):  # a Windows share; SQLite allows no host
        uri = "file:////" + uri.removeprefix("file://")
    return f"{uri}?mode={mode}"


def engine_of(path: Path | None, *, create: bool = False, foreign_keys: bool = True) -> Engine:
    """An engine on the SQLite file at `path`. Without `create`, a missing file is an error and not an empty database.

    path None: a temporary database, another one for each connection and gone with it; SQLite keeps it in memory as far
    as its cache goes, and beyond that in a file of its own that has no name. foreign_keys: off only while tables are
    rebuilt, when dropping a parent would empty its children.
    """
    if path is None:
        url = URL.create("sqlite", database="file:", query={"uri": "true"})
    else:
        uri, _, mode = file_uri(path, "rwc" if create else "rw").partition("?mode=")
        url = URL.create("sqlite", database=uri, query={"uri": "true", "mode": mode})
    engine = create_engine(url, poolclass=NullPool, connect_args={"timeout": BUSY_S}, hide_parameters=True)

    @event.listens_for(engine, "connect")
    def on_connect(connection: sqlite3.Connection, _record: Any) -> None:
        # The driver's own handling begins no transaction before SELECT or DDL; `on_begin` does, for all.
        connection.isolation_level = None
        # Inside a transaction this is ignored without a word, so here or never.
        connection.execute(f"PRAGMA foreign_keys = {'ON' if foreign_keys else 'OFF'}")
        # What a power cut takes from the end of a write-ahead log is replayed from the journal.
        (mode,) = connection.execute("PRAGMA journal_mode").fetchone()
        connection.execute(f"PRAGMA synchronous = {'NORMAL' if mode == 'wal' else 'FULL'}")

    @event.listens_for(engine, "begin")
    def on_begin(connection: Connection) -> None:
        if connection.info.get("writes"):
            _begin_writing(connection)
        else:
            connection.exec_driver_sql("BEGIN")

    return engine


def _begin_writing(connection: Connection) -> None:
    # A reader that turns writer fails at once when another has written meanwhile; so writers say so when they begin.
    connection.exec_driver_sql(f"PRAGMA busy_timeout = {int(_SLICE_S * 1000)}")
    try:
        for left in reversed(range(int(BUSY_S / _SLICE_S))):
            try:
                connection.exec_driver_sql("BEGIN IMMEDIATE")
                return
            except DBAPIError as error:
                if not is_busy(error.orig) or not left:
                    raise
    finally:
        connection.exec_driver_sql(f"PRAGMA busy_timeout = {int(BUSY_S * 1000)}")


def settle_journal_mode(path: Path) -> None:
    """Sets the way SQLite writes: a write-ahead log, so that readers and a writer do not wait for each other; on a
    network share, where that would need memory in common, a rollback journal. Leaves alone what others have open.
    """
    wanted = "delete" if on_network(path) else "wal"
    with in_words(path), closing(sqlite3.connect(file_uri(path, "rw"), uri=True, timeout=_SLICE_S)) as connection:
        (mode,) = connection.execute("PRAGMA journal_mode").fetchone()
        if mode != wanted:
            # Busy or write-protected: it stays as it is, which is safe if not as quick.
            with suppress(sqlite3.OperationalError):
                connection.execute(f"PRAGMA journal_mode = {wanted}").fetchone()


def on_network(path: PurePath) -> bool:
    """Whether a path lies on a network share, as far as can be told: by its name on Windows, by its mount on Linux."""
    if str(path).startswith(("\\\\", "//")):
        return True
    try:
        with open("/proc/self/mountinfo", encoding="utf-8", errors="replace") as handle:
            return NETWORK_FILE_SYSTEMS.match(file_system_of(path, handle.read())) is not None
    except OSError:
        return False


def file_system_of(path: PurePath, mounts: str) -> str:
    """The sort of file system of an absolute path, by the text of Linux' mountinfo (proc(5)); "" where not told."""
    deepest, sort = -1, ""
    for line in mounts.splitlines():
        before, dash, after = line.partition(" - ")
        if not dash or len(before.split()) < 5:
            continue
        place = PurePath(re.sub(r"\\([0-7]{3})", lambda octal: chr(int(octal.group(1), 8)), before.split()[4]))
        if path.is_relative_to(place) and len(place.parts) >= deepest:
            deepest, sort = len(place.parts), after.split()[0]
    return sort


def revision_of(path: Path) -> str | None:
    """The revision of the tables in a file, by the driver alone; None for a missing or an empty file.

    Raises DarklibError where the file is not a catalogue.
    """
    try:
        connection = sqlite3.connect(file_uri(path, "rw"), uri=True, timeout=BUSY_S)
    except sqlite3.OperationalError:
        return None
    with closing(connection), in_words(path):
        tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if "alembic_version" in tables:
            row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
            if row is not None:
                return str(row[0])
        if tables - {"alembic_version"}:
            raise damaged(path, "it holds other tables than darklib's")
        return None


def about(path: Path) -> dict[str, str]:
    """What the catalogue says about itself: the programs that made and upgraded it. Empty where it says nothing."""
    try:
        with closing(sqlite3.connect(file_uri(path, "rw"), uri=True, timeout=BUSY_S)) as connection:
            return dict(connection.execute("SELECT name, value FROM about").fetchall())
    except sqlite3.Error:
        return {}


def back_up(path: Path, target: Path) -> None:
    """A copy through SQLite's online backup, whole or empty, never torn: the target is written in one transaction.

    From a connection of its own: on one that has written and not yet committed, the backup would wait for itself.
    """
    with (
        in_words(target),
        closing(sqlite3.connect(file_uri(path, "rw"), uri=True, timeout=BUSY_S)) as source,
        closing(sqlite3.connect(file_uri(target, "rwc"), uri=True, timeout=BUSY_S)) as copy,
    ):
        source.backup(copy)
        (verdict,) = copy.execute("PRAGMA quick_check(1)").fetchone()
        if verdict != "ok":
            raise damaged(path, f"its backup does not pass SQLite's check ({verdict})")


def is_empty(path: Path) -> bool:
    """Whether there is no file, or none with a table in it."""
    try:
        with closing(sqlite3.connect(file_uri(path, "rw"), uri=True, timeout=BUSY_S)) as connection:
            return connection.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone() is None
    except sqlite3.OperationalError:
        return True


def integrity(connection: Connection) -> str:
    """The word ok, or what SQLite's own checks find. Where damage makes a check itself fail, that is told."""
    try:
        rows = connection.exec_driver_sql("PRAGMA integrity_check(5)").scalars().all()
        troubles = [str(row) for row in rows if row != "ok"]
        troubles += broken_references(connection)
    except DBAPIError as error:
        troubles = [str(error.orig)]
    return "; ".join(troubles) or "ok"


def broken_references(connection: Connection) -> list[str]:
    """Rows that refer to rows that are not there, in words; `integrity_check` does not look at them."""
    rows = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    return [f"row {row[1]} of {row[0]} refers to a missing row of {row[2]}" for row in rows[:5]]


def is_busy(error: BaseException | None) -> bool:
    """Whether an error of the driver says that another process is writing."""
    return isinstance(error, sqlite3.OperationalError) and error.sqlite_errorcode & 0xFF in (
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_LOCKED,
    )


def damaged(path: Path, what: str) -> DarklibError:
    """The error of a file that is no sound catalogue."""
    return DarklibError(
        "catalogue_damaged",
        f"The catalogue cannot be used: {what}.",
        path=str(path),
        remedy="Run `darklib rebuild`: it makes the catalogue anew from the journal and the stored files.",
    )


_IN_WORDS: dict[int, tuple[str, str, str]] = {
    sqlite3.SQLITE_BUSY: (
        "catalogue_busy",
        "Another darklib is writing to this library and did not finish in time.",
        "Wait until it has finished, then run the command again.",
    ),
    sqlite3.SQLITE_FULL: (
        "disk_full",
        "The disk is full: the catalogue could not be written.",
        "Make room and run it again.",
    ),
    sqlite3.SQLITE_READONLY: (
        "read_only",
        "The catalogue may not be written to.",
        "Make the library's folder and its files writable, then run the command again.",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "catalogue_unreadable",
        "The catalogue could not be opened.",
        "See that the library's folder is there and may be read and written.",
    ),
    sqlite3.SQLITE_IOERR: (
        "disk_error",
        "The disk failed while the catalogue was read or written.",
        "See that the disk is well; nothing that the journal holds is lost. Then run the command again.",
    ),
}
_IN_WORDS[sqlite3.SQLITE_LOCKED] = _IN_WORDS[sqlite3.SQLITE_BUSY]
_IN_WORDS[sqlite3.SQLITE_PERM] = _IN_WORDS[sqlite3.SQLITE_READONLY]


@contextmanager
def in_words(path: Path) -> Iterator[None]:
    """Turns the driver's errors that a user can act on into a DarklibError; others are bugs and go on as they are."""
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        driver = error.orig if isinstance(error, DBAPIError) else error
        if not isinstance(driver, sqlite3.Error):
            raise
        code = (getattr(driver, "sqlite_errorcode", None) or 0) & 0xFF
        if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
            raise damaged(path, f"the file is damaged ({driver})") from error
        if str(driver).startswith("Could not decode to UTF-8"):  # a flipped bit of a text; it comes without a number
            raise damaged(path, "a row holds a text that is none") from error
        if code in _IN_WORDS:
            word, text, remedy = _IN_WORDS[code]
            raise DarklibError(word, text, path=str(path), remedy=remedy) from error
        raise
