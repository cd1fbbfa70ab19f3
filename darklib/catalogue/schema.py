"""Opening the catalogue: making a new one, upgrading an older one after a backup, refusing a newer one."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from darklib import __version__
from darklib.catalogue import address
from darklib.catalogue.catalogue import Catalogue
from darklib.facts.errors import DarklibError

if TYPE_CHECKING:
    from alembic.config import Config

REVISION = "0004"
"""Revision of the tables this program works with: the newest in migrations/versions, four digits."""

LOCK_S = 600.0
"""How long a command waits for another one that upgrades the catalogue."""


def current(path: Path) -> bool:
    """Whether the catalogue at `path` is there and has this program's tables. Quick: the driver alone."""
    return address.revision_of(path) == REVISION


def open_catalogue(path: Path, backups: Path, *, create: bool) -> Catalogue:
    """Opens the catalogue; an older one is upgraded first, after a backup into the folder `backups`.

    create: a missing (or empty) one is made. Raises DarklibError: `no_catalogue`, `newer_catalogue`,
    `catalogue_damaged`, `catalogue_busy`, or what the disk refuses.
    """
    found = address.revision_of(path)
    if found != REVISION:
        if found is None and not create:
            raise DarklibError(
                "no_catalogue",
                "The library has no catalogue.",
                path=str(path),
                remedy="Run `darklib rebuild`: it makes the catalogue anew from the journal and the stored files.",
            )
        _refuse_newer(path, found)
        _bring_up(path, backups)
    address.settle_journal_mode(path)  # every time: the library may have been moved to a share, or back
    return Catalogue(path)


def refuse_newer(path: Path) -> None:
    """DarklibError `newer_catalogue` where a newer darklib made the catalogue; none where there is no telling."""
    try:
        found = address.revision_of(path)
    except DarklibError:
        return
    _refuse_newer(path, found)


def _refuse_newer(path: Path, found: str | None) -> None:
    if found is None or (found.isdecimal() and found <= REVISION):
        return
    by = address.about(path).get("upgraded_by", "a newer version")
    raise DarklibError(
        "newer_catalogue",
        f"The catalogue was written by darklib {by} (tables {found}); this is darklib {__version__} "
        f"(tables {REVISION}), which is older and leaves it alone.",
        path=str(path),
        remedy="Use the newer darklib, or restore a catalogue from the library's backups folder.",
    )


def _bring_up(path: Path, backups: Path) -> None:
    from filelock import FileLock, Timeout

    try:
        with FileLock(path.with_name(path.name + ".lock"), timeout=LOCK_S):
            found = address.revision_of(path)  # another process may have been first
            _refuse_newer(path, found)
            if found == REVISION:
                return
            if found is not None:
                address.back_up(path, _backup_name(backups, found))
            upgrade(path)
    except Timeout as error:
        raise DarklibError(
            "catalogue_busy",
            "Another darklib is upgrading the catalogue and did not finish in time.",
            path=str(path),
            remedy="Wait until it has finished, then run the command again.",
        ) from error
    except OSError as error:  # the lock file
        raise DarklibError(
            "catalogue_unreadable",
            f"The library's folder cannot be written to: {error.strerror}.",
            path=str(path),
            remedy="See that the library's folder is there and may be read and written.",
        ) from error


def _backup_name(backups: Path, found: str) -> Path:
    # A backup that is there stays; an empty one is what a killed run left, and is used again.
    number = 1
    while True:
        extra = "" if number == 1 else f"-{number}"
        name = backups / f"catalogue-{found}-before-{REVISION}{extra}.sqlite"
        if address.is_empty(name):
            return name
        number += 1


def upgrade(path: Path) -> None:
    """Brings the tables to REVISION in one transaction together with the row that says so: all of it or nothing.

    Alembic is loaded here and nowhere else.
    """
    from alembic import command
    from alembic.util.exc import CommandError
    from sqlalchemy import text

    engine = address.engine_of(path, create=True, foreign_keys=False)
    try:
        with address.in_words(path), engine.connect() as connection:
            connection.info["writes"] = True
            with connection.begin():
                config = _config(migration_folders())
                config.attributes["connection"] = connection
                command.upgrade(config, REVISION)
                broken = address.broken_references(connection)
                if broken:
                    raise address.damaged(path, "after its upgrade " + "; ".join(broken))
                connection.execute(text("DELETE FROM about WHERE name = 'upgraded_by'"))
                for name in ("made_by", "upgraded_by"):
                    connection.execute(
                        text(
                            "INSERT INTO about (name, value) SELECT :name, :value WHERE NOT EXISTS "
                            "(SELECT 1 FROM about WHERE name = :name)"
                        ),
                        {"name": name, "value": __version__},
                    )
    except CommandError as error:
        raise DarklibError(
            "migrations_missing",
            f"The catalogue could not be upgraded: {error}",
            path=str(path),
            remedy="The installation is not complete; install darklib anew.",
        ) from error
    finally:
        engine.dispose()


def migration_folders() -> tuple[Path, ...]:
    """Where the migrations lie: inside the package when installed, beside it in a checkout; looked at in this order."""
    package = Path(__file__).resolve().parents[1]
    return package / "_migrations", package.parent / "migrations"


def _config(folders: Sequence[Path]) -> "Config":
    from alembic.config import Config

    folder = next((one for one in folders if (one / "env.py").is_file()), folders[-1])
    config = Config()
    # The configuration's own language gives `%` a meaning.
    config.set_main_option("script_location", str(folder).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config
