"""Making, upgrading and refusing a catalogue: a change of tables happens whole, after a backup, or not at all."""

import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from catalogue_material import applied, dump, made, raw, sha_of, stored

from darklib import __version__
from darklib.catalogue import address, schema
from darklib.catalogue.schema import REVISION, current, migration_folders, open_catalogue
from darklib.catalogue.tables import Base
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Kind

HEAD = """
import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None
"""

# Rebuilds the parent of `frames` and of `series`; with foreign keys on, dropping it would fail or empty its children.
REBUILD = """
def upgrade():
    with op.batch_alter_table("bodies", recreate="always") as batch:
        batch.add_column(sa.Column("note", sa.Text(), nullable=True))
    op.execute("UPDATE bodies SET note = 'from 0005'")
    op.create_index("ix_bodies_lower_label", "bodies", [sa.text("lower(label)")])
"""

REBUILD_FRAMES = """
def upgrade():
    with op.batch_alter_table("frames", recreate="always") as batch:
        batch.add_column(sa.Column("note", sa.Text(), nullable=True))
"""

FAIL_LATE = """
def upgrade():
    op.create_table("extra", sa.Column("pk", sa.Integer(), primary_key=True))
    op.execute("UPDATE frames SET size = 1")
    raise RuntimeError("the migration broke")
"""

ORPHANS = """
def upgrade():
    op.execute("DELETE FROM bodies")
"""

Later = Callable[[str], None]


@pytest.fixture
def later(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Later:
    """A later darklib, whose tables are made by our migrations and one more."""

    def install(body: str, revision: str = "0005") -> None:
        folder = tmp_path_factory.mktemp("later") / "100% migrations"
        shutil.copytree(migration_folders()[1], folder, ignore=shutil.ignore_patterns("__pycache__"))
        (folder / "versions" / f"{revision}_later.py").write_text(HEAD + body, encoding="utf-8")
        monkeypatch.setattr(schema, "migration_folders", lambda: (folder,))
        monkeypatch.setattr(schema, "REVISION", revision)
        monkeypatch.setattr(schema, "__version__", "9.9.9")

    return install


def filled(folder: Path) -> Path:
    with made(folder) as catalogue:
        applied(catalogue, [stored("a"), stored("b", Kind.LIGHT), stored("c", serial="7")])
        (folder / "backups").mkdir(exist_ok=True)
        return catalogue.path


def tables_of(path: Path) -> dict[str, str]:
    rows = raw(path, "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL AND name <> 'alembic_version'")
    return {
        name: " ".join(sql.replace("(", " ( ").replace(")", " ) ").replace(",", " , ").split()) for name, sql in rows
    }


def backups(path: Path) -> list[str]:
    return sorted(one.name for one in (path.parent / "backups").glob("*"))


def test_the_migrations_make_the_tables_of_the_models(tmp_path: Path) -> None:
    made(tmp_path).close()
    engine = address.engine_of(tmp_path / "models.sqlite", create=True)
    Base.metadata.create_all(engine)
    engine.dispose()
    by_models, by_migrations = (tables_of(tmp_path / file) for file in ("models.sqlite", "catalogue.sqlite"))
    assert by_models.keys() == by_migrations.keys()
    for name, sql in by_models.items():
        # The order of columns and constraints is of no matter.
        assert sorted(re.split(r"[(),]", sql)) == sorted(re.split(r"[(),]", by_migrations[name])), name


def test_the_newest_migration_is_the_programs_revision_and_ids_are_four_digits() -> None:
    versions = sorted((migration_folders()[1] / "versions").glob("*.py"))
    assert versions[-1].name.startswith(f"{REVISION}_")
    assert all(one.name[:4].isdecimal() for one in versions)


def test_every_constraint_has_a_name() -> None:
    # Rebuilding a table loses unnamed checks, with a warning at most.
    unnamed = [
        (table.name, constraint)
        for table in Base.metadata.sorted_tables
        for constraint in table.constraints
        if constraint.name is None
    ]
    assert unnamed == []


def test_a_new_catalogue_needs_no_backup_and_knows_its_maker(tmp_path: Path) -> None:
    path = tmp_path / "catalogue.sqlite"
    assert not current(path)
    open_catalogue(path, tmp_path / "backups", create=True).close()
    assert current(path)
    assert not (tmp_path / "backups").exists()
    assert address.about(path) == {"made_by": __version__, "upgraded_by": __version__}
    assert raw(path, "SELECT version_num FROM alembic_version") == [(REVISION,)]
    assert raw(path, "PRAGMA journal_mode") == [("wal",)]


def test_migrations_are_looked_for_in_the_package_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package, beside = migration_folders()
    assert (package.name, package.parent.name) == ("_migrations", "darklib")
    assert (beside.name, beside.parent) == ("migrations", package.parents[1])
    inside = tmp_path / "_migrations"
    shutil.copytree(beside, inside)
    monkeypatch.setattr(schema, "migration_folders", lambda: (inside, tmp_path / "nowhere"))
    open_catalogue(tmp_path / "catalogue.sqlite", tmp_path, create=True).close()
    assert current(tmp_path / "catalogue.sqlite")


def test_an_installation_without_migrations_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(schema, "migration_folders", lambda: (tmp_path / "nowhere", tmp_path / "nor here"))
    with pytest.raises(DarklibError, match="could not be upgraded") as caught:
        open_catalogue(tmp_path / "catalogue.sqlite", tmp_path, create=True)
    assert caught.value.code == "migrations_missing"


def test_an_older_catalogue_is_upgraded_after_one_backup(tmp_path: Path, later: Later) -> None:
    path = filled(tmp_path)
    before = dump(path)
    later(REBUILD)
    with open_catalogue(path, tmp_path / "backups", create=False) as catalogue:
        assert catalogue.known(sha_of("a"))
        assert catalogue.integrity() == "ok"
    after = dump(path)
    assert {row.pop("note") for row in after["bodies"]} == {"from 0005"}
    assert after == before  # the children of the table that was rebuilt are all there
    assert "ix_bodies_lower_label" in tables_of(path)
    assert backups(path) == ["catalogue-0004-before-0005.sqlite"]
    assert dump(tmp_path / "backups" / "catalogue-0004-before-0005.sqlite") == before
    assert address.about(path) == {"made_by": __version__, "upgraded_by": "9.9.9"}
    open_catalogue(path, tmp_path / "backups", create=False).close()
    assert len(backups(path)) == 1


def test_rebuilding_the_table_of_frames_loses_no_index_check_or_row(tmp_path: Path, later: Later) -> None:
    # Rebuilding loses expression indexes and triggers silently, so there are none; the partial index is kept.
    path = filled(tmp_path)
    before = tables_of(path)
    assert not [sql for sql in before.values() if sql.startswith("CREATE TRIGGER")]
    expressions = (
        "SELECT m.name FROM sqlite_master m, pragma_index_info(m.name) i WHERE m.type = 'index' AND i.cid = -2"
    )
    assert raw(path, expressions) == []
    later(REBUILD_FRAMES)
    open_catalogue(path, tmp_path / "backups", create=False).close()
    after = tables_of(path)
    assert after.keys() == before.keys()
    assert after["ix_frames_undecided"] == before["ix_frames_undecided"]
    for check in re.findall(r"CONSTRAINT (\w+)", before["frames"]):
        assert check in after["frames"]
    assert raw(path, "SELECT count(*) FROM records JOIN frames USING (sha256)") == [(3,)]


def test_the_backup_is_a_catalogue_of_the_older_program(
    tmp_path: Path, later: Later, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = filled(tmp_path)
    before = dump(path)
    with monkeypatch.context() as patch:
        later(REBUILD)
        open_catalogue(path, tmp_path / "backups", create=False).close()
        patch.undo()
    monkeypatch.undo()
    shutil.copy(tmp_path / "backups" / "catalogue-0004-before-0005.sqlite", tmp_path / "restored.sqlite")
    with open_catalogue(tmp_path / "restored.sqlite", tmp_path, create=False) as catalogue:
        assert catalogue.known(sha_of("b"))
    assert dump(tmp_path / "restored.sqlite") == before


def test_a_migration_that_fails_leaves_the_old_catalogue(tmp_path: Path, later: Later) -> None:
    path = filled(tmp_path)
    before, tables = dump(path), tables_of(path)
    later(FAIL_LATE)
    for attempt in (1, 2):
        with pytest.raises(RuntimeError, match="the migration broke"):
            open_catalogue(path, tmp_path / "backups", create=False)
        assert (dump(path), tables_of(path)) == (before, tables)
        assert raw(path, "SELECT version_num FROM alembic_version") == [("0004",)]
        assert len(backups(path)) == attempt  # one for each upgrade, none written over


def test_a_migration_that_leaves_broken_references_is_taken_back(tmp_path: Path, later: Later) -> None:
    path = filled(tmp_path)
    before = dump(path)
    later(ORPHANS)
    with pytest.raises(DarklibError, match="refers to a missing row of bodies"):
        open_catalogue(path, tmp_path / "backups", create=False)
    assert dump(path) == before


def test_an_older_program_refuses_a_newer_catalogue(
    tmp_path: Path, later: Later, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = filled(tmp_path)
    later(REBUILD)
    open_catalogue(path, tmp_path / "backups", create=False).close()
    monkeypatch.undo()
    content = path.read_bytes()
    for create in (True, False):
        with pytest.raises(DarklibError, match=r"written by darklib 9\.9\.9 .* is older") as caught:
            open_catalogue(path, tmp_path / "backups", create=create)
        assert (caught.value.code, bool(caught.value.remedy)) == ("newer_catalogue", True)
    assert path.read_bytes() == content
    assert not current(path)


def test_a_revision_nobody_knows_is_refused_as_newer(tmp_path: Path) -> None:
    path = filled(tmp_path)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = 'a1b2c3'")
        connection.commit()
    with pytest.raises(DarklibError, match="tables a1b2c3"):
        open_catalogue(path, tmp_path / "backups", create=True)


def test_an_empty_backup_of_a_killed_run_is_used_again(tmp_path: Path, later: Later) -> None:
    path = filled(tmp_path)
    (tmp_path / "backups" / "catalogue-0004-before-0005.sqlite").touch()
    later(REBUILD)
    open_catalogue(path, tmp_path / "backups", create=False).close()
    assert backups(path) == ["catalogue-0004-before-0005.sqlite"]
    assert raw(tmp_path / "backups" / backups(path)[0], "SELECT count(*) FROM frames") == [(3,)]


def test_without_a_place_for_the_backup_nothing_is_upgraded(tmp_path: Path, later: Later) -> None:
    path = filled(tmp_path)
    before = dump(path)
    later(REBUILD)
    with pytest.raises(DarklibError, match="could not be opened"):
        open_catalogue(path, tmp_path / "no such folder", create=False)
    assert dump(path) == before


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(DarklibError, match=r"cannot be written to|could not be opened"):
        open_catalogue(tmp_path / "file" / "catalogue.sqlite", tmp_path, create=True)


def test_another_process_that_upgrades_is_waited_for(
    tmp_path: Path, later: Later, monkeypatch: pytest.MonkeyPatch
) -> None:
    from filelock import FileLock

    path = filled(tmp_path)
    later(REBUILD)
    monkeypatch.setattr(schema, "LOCK_S", 0.2)
    with FileLock(f"{path}.lock"), pytest.raises(DarklibError, match="is upgrading the catalogue") as caught:
        open_catalogue(path, tmp_path / "backups", create=False)
    assert caught.value.code == "catalogue_busy"
    open_catalogue(path, tmp_path / "backups", create=False).close()


SLOW = """
def upgrade():
    op.execute("CREATE TABLE half (pk INTEGER)")
    op.execute("UPDATE frames SET size = 1")
    import pathlib, time
    pathlib.Path(HERE).touch()
    time.sleep(60)
"""

UPGRADER = """
import sys
from pathlib import Path
from darklib.catalogue import schema
schema.migration_folders = lambda: (Path(sys.argv[2]),)
schema.REVISION = "0005"
schema.open_catalogue(Path(sys.argv[1]), Path(sys.argv[1]).parent / "backups", create=False)
"""


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is of POSIX")
def test_killed_during_an_upgrade_the_old_catalogue_is_there(tmp_path: Path) -> None:
    path = filled(tmp_path)
    before = dump(path)
    folder, sign = tmp_path / "migrations", tmp_path / "half way"
    shutil.copytree(migration_folders()[1], folder, ignore=shutil.ignore_patterns("__pycache__"))
    body = textwrap.dedent(SLOW).replace("HERE", repr(str(sign)))
    (folder / "versions" / "0005_slow.py").write_text(HEAD + body, encoding="utf-8")
    command = [sys.executable, "-c", UPGRADER, str(path), str(folder)]
    process = subprocess.Popen(command, cwd=Path(__file__).parents[2], stderr=subprocess.PIPE)
    try:
        for _ in range(600):
            if sign.exists() or process.poll() is not None:
                break
            time.sleep(0.05)
        assert sign.exists(), process.stderr.read() if process.stderr else ""
        process.send_signal(signal.SIGKILL)
    finally:
        process.kill()
        process.communicate()
    with open_catalogue(path, tmp_path / "backups", create=False) as catalogue:
        assert catalogue.integrity() == "ok"
    assert dump(path) == before
    assert dump(tmp_path / "backups" / "catalogue-0004-before-0005.sqlite") == before


def test_two_processes_that_make_a_catalogue_at_once_make_one(tmp_path: Path) -> None:
    program = (
        "import sys\n"
        "from pathlib import Path\n"
        "from darklib.catalogue.schema import open_catalogue\n"
        "open_catalogue(Path(sys.argv[1]), Path(sys.argv[1]).parent, create=True).close()\n"
    )
    command = [sys.executable, "-c", program, str(tmp_path / "catalogue.sqlite")]
    processes = [
        subprocess.Popen(command, cwd=Path(__file__).parents[2], stderr=subprocess.PIPE, text=True) for _ in range(2)
    ]
    errors = [process.communicate(timeout=60)[1] for process in processes]
    assert [process.returncode for process in processes] == [0, 0], errors
    assert current(tmp_path / "catalogue.sqlite")
    assert list(tmp_path.glob("catalogue-*")) == []


def copy_rows(source: Path, target: Path) -> None:
    """All rows of a catalogue into one of older tables, as far as these have tables and columns for them."""
    with closing(sqlite3.connect(target)) as connection:
        connection.execute("ATTACH ? AS today", (str(source),))
        tables = connection.execute("SELECT name FROM main.sqlite_master WHERE type = 'table'").fetchall()
        for (name,) in tables:
            if name != "alembic_version":
                columns = ", ".join(f'"{row[1]}"' for row in connection.execute(f"PRAGMA main.table_info({name})"))
                connection.execute(f"DELETE FROM main.{name}")
                connection.execute(f"INSERT INTO main.{name} ({columns}) SELECT {columns} FROM today.{name}")
        connection.commit()


def test_a_catalogue_of_the_first_tables_is_upgraded_and_keeps_every_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "catalogue.sqlite"
    with monkeypatch.context() as patch:
        patch.setattr(schema, "REVISION", "0001")
        open_catalogue(path, tmp_path / "backups", create=True).close()
    with open_catalogue(tmp_path / "today.sqlite", tmp_path / "backups", create=True) as today:
        applied(today, [stored("a"), stored("b", Kind.LIGHT), stored("c", serial="7")])
    copy_rows(tmp_path / "today.sqlite", path)
    assert raw(path, "SELECT version_num FROM alembic_version") == [("0001",)]
    before = dump(path)
    (tmp_path / "backups").mkdir(exist_ok=True)
    with open_catalogue(path, tmp_path / "backups", create=False) as catalogue:
        assert (catalogue.findings("sensor"), catalogue.inferences()) == ([], [])
        assert catalogue.integrity() == "ok"
    before["frames"] = [{**row, "dark_ratio": None} for row in before["frames"]]
    assert dump(path) == {**before, "copies_checked": [], "findings": [], "inferences": []}
    assert backups(path)[0].startswith("catalogue-0001-before-")
