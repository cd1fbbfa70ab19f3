"""Whatever happens to a library behind darklib's back, `verify` finds it and changes nothing; `rebuild` gives back all
that files and journal still hold and names the rest.
"""

from __future__ import annotations

import random
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest
from small_library import FIRST_CARD, FixedSeam, differences, fits, rows, set_stage, sha

from darklib.catalogue.catalogue import FrameQuery
from darklib.facts.errors import DarklibError
from darklib.jobs.library import open_library
from darklib.jobs.rebuild import rebuild
from darklib.jobs.results import RebuildResult, VerifyResult
from darklib.jobs.verify import verify

pytestmark = pytest.mark.usefixtures("in_process")


def looked(at: Path) -> VerifyResult:
    with open_library(at / "library", seam=FixedSeam()) as opened:
        return verify(opened)


def found(result: VerifyResult) -> set[str]:
    """Codes of what was found; `catalogue` and `unknown` for the other sorts, `remark` where there is nothing else."""
    codes = {one.code for one in (*result.differing, *result.missing)}
    codes |= {"catalogue"} if result.catalogue != "ok" else set()
    codes |= {"unknown"} if result.unknown_files else set()
    return codes or ({"remark"} if result.remarks else set())


def snapshot(folder: Path) -> dict[str, bytes]:
    """Every file but those that SQLite and the locks keep beside their own."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.endswith(("-wal", "-shm", ".lock"))
    }


def dark(at: Path) -> Path:
    return next((at / "library" / "frames").rglob("*_D_1.fits"))


def journals(at: Path) -> list[Path]:
    """Of the stage: two ingests, a correction, a retirement."""
    return sorted((at / "library" / "journal").glob("*.jsonl"))


def sql(at: Path, statement: str) -> None:
    with closing(sqlite3.connect(at / "library" / "catalogue.sqlite")) as connection, connection:
        connection.execute("PRAGMA foreign_keys = OFF")
        assert connection.execute(statement).rowcount > 0, statement


def flip(path: Path, offset: int, bit: int = 0) -> None:
    data = bytearray(path.read_bytes())
    data[offset] ^= 1 << bit
    path.chmod(0o644)
    path.write_bytes(data)


def truncate(path: Path, size: int) -> None:
    path.chmod(0o644)
    path.write_bytes(path.read_bytes()[:size])


def replace_line(path: Path, number: int, change: Callable[[bytes], bytes]) -> None:
    lines = path.read_bytes().splitlines(keepends=True)
    lines[number] = change(lines[number])
    path.write_bytes(b"".join(lines))


def line_of(path: Path, text: bytes) -> int:
    return next(number for number, line in enumerate(path.read_bytes().splitlines()) if text in line)


def stored_line(at: Path) -> int:
    return line_of(journals(at)[0], sha(FIRST_CARD["darks/D_1.fits"]).encode())


def spoil_a_line(at: Path) -> None:
    replace_line(journals(at)[0], stored_line(at), lambda line: line.replace(b"Alder", b"Elder", 1))


def add_a_file(at: Path) -> None:
    (at / "library" / "frames" / "mine").mkdir()
    (at / "library" / "frames" / "mine" / "by_hand.fits").write_bytes(fits("Dark", 90))


def tear(at: Path) -> None:
    with journals(at)[-1].open("ab") as handle:
        handle.write(b'{"schema":"darklib/journal/1","entry":{"do":"ret')


def spoil_the_catalogue(at: Path) -> None:
    """A page of the frames' table is overwritten."""
    path = at / "library" / "catalogue.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        (page,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'frames'").fetchone()
        (size,) = connection.execute("PRAGMA page_size").fetchone()
    data = bytearray(path.read_bytes())
    data[(page - 1) * size + 8 : page * size] = b"\xff" * (size - 8)
    path.write_bytes(data)


@dataclass(frozen=True)
class Damage:
    """do: what happens; found: by `verify`. After `rebuild`: what verify still finds, words of what rebuild names, and
    whether the catalogue is as it was.
    """

    do: Callable[[Path], object]
    found: set[str]
    left: set[str]
    named: str | None
    whole_again: bool = True


NOTHING: set[str] = set()
DAMAGES: dict[str, Damage] = {
    # Files. What is not in the file any more nobody can give back; verify goes on to say so.
    "a bit of a frame turns": Damage(lambda at: flip(dark(at), 3000, 5), {"differs"}, {"differs"}, None),
    "a frame is cut short": Damage(lambda at: truncate(dark(at), 4000), {"differs"}, {"differs"}, None),
    "a frame is emptied": Damage(lambda at: truncate(dark(at), 0), {"differs"}, {"differs"}, None),
    "a frame goes": Damage(lambda at: dark(at).unlink(), {"missing"}, {"missing"}, "is not there"),
    "a frame is renamed": Damage(
        lambda at: dark(at).rename(dark(at).with_name("better_name.fits")),
        {"renamed"}, {"renamed"}, "was renamed to", whole_again=False,
    ),
    "a file comes": Damage(add_a_file, {"unknown"}, NOTHING, "Taken in from the library's own", whole_again=False),
    "a kept copy goes": Damage(
        lambda at: next((at / "library" / "set-aside").rglob("*.fits")).unlink(), {"missing"}, {"missing"}, None
    ),
    "a kept copy rots": Damage(
        lambda at: flip(next((at / "library" / "set-aside").rglob("*.fits")), 9), {"differs"}, {"differs"}, None
    ),
    # The journal.
    "the last line is torn": Damage(tear, {"remark"}, {"remark"}, "has a line that cannot be read"),
    "a line in the middle rots": Damage(
        spoil_a_line, {"journal_damaged", "catalogue"}, {"journal_damaged"}, "has a line that cannot be read",
        whole_again=False,
    ),
    "a line goes": Damage(
        lambda at: replace_line(journals(at)[0], stored_line(at), lambda line: b""), {"catalogue"}, NOTHING,
        "Taken in from", whole_again=False,
    ),
    "the file of an ingest goes": Damage(
        lambda at: journals(at)[0].unlink(), {"catalogue"}, {"remark"}, "Taken in from", whole_again=False
    ),
    "the file of a correction goes": Damage(
        lambda at: journals(at)[2].unlink(), {"catalogue"}, NOTHING, "was recorded otherwise", whole_again=False
    ),
    "the file of a retirement goes": Damage(
        lambda at: journals(at)[3].unlink(), {"catalogue"}, NOTHING, "was recorded otherwise", whole_again=False
    ),
    # The catalogue. It can be made anew altogether.
    "a frame's row changes": Damage(
        lambda at: sql(at, "UPDATE frames SET exposure_us = 1 WHERE kind = 'light'"), {"catalogue"}, NOTHING,
        "was recorded otherwise",
    ),
    "a correction's row changes": Damage(
        lambda at: sql(at, "UPDATE statements SET value = '7' WHERE field = 'temperature_c'"), {"catalogue"}, NOTHING,
        "corrections",
    ),
    "the catalogue goes": Damage(
        lambda at: (at / "library" / "catalogue.sqlite").unlink(), NOTHING, NOTHING, None
    ),
}  # fmt: skip
TABLES = (
    "frames", "records", "measurements", "sources", "statements", "set_aside", "bodies", "trains", "series", "readouts",
)  # fmt: skip
DAMAGES |= {
    f"a row of {table} goes": Damage(
        lambda at, table=table: sql(at, f"DELETE FROM {table} WHERE rowid = (SELECT max(rowid) FROM {table})"),
        {"catalogue", "unknown"} if table == "frames" else {"catalogue"},
        NOTHING,
        None if table == "series" else "",
    )
    for table in TABLES
}


def damaged(name: str, stage: tuple[Path, Path]) -> tuple[VerifyResult, RebuildResult, dict[str, list[str]]]:
    """Does the damage and looks: what verify found, what rebuild told, and the rows of the sound catalogue."""
    template, at = stage
    set_stage(template, at)
    sound = rows(at / "library" / "catalogue.sqlite")
    DAMAGES[name].do(at)
    before = snapshot(at)
    result = looked(at)
    if name != "the catalogue goes":
        assert snapshot(at) == before, "verify changes nothing"
    return result, rebuild(at / "library", seam=FixedSeam()), sound


# The rest of the rows differ in nothing but the table: `frames` and `set_aside` stand for them every day.
EVERY_DAY = [name for name in DAMAGES if not name.startswith("a row of") or name.split()[3] in ("frames", "set_aside")]


def test_a_sound_library_is_found_sound(stage: tuple[Path, Path]) -> None:
    set_stage(*stage)
    before = snapshot(stage[1])
    result = looked(stage[1])
    assert (found(result), result.checked, result.intact) == (NOTHING, 8, 8)
    assert snapshot(stage[1]) == before


@pytest.mark.parametrize(
    "name", [one if one in EVERY_DAY else pytest.param(one, marks=pytest.mark.long) for one in DAMAGES]
)
def test_found_and_put_right_as_far_as_can_be(name: str, stage: tuple[Path, Path]) -> None:
    at, damage = stage[1], DAMAGES[name]
    result, rebuilt, sound = damaged(name, stage)
    assert found(result) == damage.found
    for one in (*result.differing, *result.missing):
        assert "." in one.text.rstrip("."), f"a sentence what happened and one what to do: {one.text}"
    if "catalogue" in damage.found:
        assert "darklib rebuild" in result.catalogue
    after = looked(at)
    assert found(after) == damage.left
    if damage.named is not None:
        assert [line for line in rebuilt.differences if damage.named in line], rebuilt.differences
    if damage.whole_again:
        assert differences(sound, rows(at / "library" / "catalogue.sqlite")) == []
    with open_library(at / "library", seam=FixedSeam()) as opened:
        held = {frame.sha256 for frame in opened.catalogue.frames(FrameQuery(retired=None)).frames}
    wanted = {sha(data) for name, data in FIRST_CARD.items() if "refused" not in name}
    assert wanted <= held, "no frame whose file or line is there is lost"


def test_a_spoilt_catalogue_is_told_and_made_anew(stage: tuple[Path, Path]) -> None:
    set_stage(*stage)
    at = stage[1]
    sound = rows(at / "library" / "catalogue.sqlite")
    spoil_the_catalogue(at)
    with pytest.raises(DarklibError, match="cannot be used") as told:
        looked(at)
    assert told.value.code == "catalogue_damaged"
    assert "darklib rebuild" in told.value.remedy
    rebuilt = rebuild(at / "library", seam=FixedSeam())
    assert [line for line in rebuilt.differences if "could not be read" in line]
    assert differences(sound, rows(at / "library" / "catalogue.sqlite")) == []


@pytest.mark.parametrize("seed", [1])
def test_every_flipped_bit_of_a_stored_file_is_found(
    seed: int, stage: tuple[Path, Path], record_property: Callable[[str, object], None]
) -> None:
    """Any bit of any stored file: SHA-256 differs for every single-bit change that was tried (FIPS 180-4)."""
    set_stage(*stage)
    at = stage[1]
    files = [path for path in (at / "library" / "frames").rglob("*") if path.is_file()]
    dice = random.Random(seed)
    tried = 40
    seen = 0
    with open_library(at / "library", seam=FixedSeam()) as opened:
        for _ in range(tried):
            path = dice.choice(files)
            offset, bit = dice.randrange(path.stat().st_size), dice.randrange(8)
            flip(path, offset, bit)
            result = verify(opened, sample=1.0)
            seen += [one.path for one in result.differing] == [str(path)]
            flip(path, offset, bit)
        assert not verify(opened).needs_attention
    record_property("measured", f"verify: {tried} bits flipped in stored files (seed {seed}), {seen} found")
    assert seen == tried


@pytest.mark.long
def test_every_byte_of_the_journal_is_guarded(
    stage: tuple[Path, Path], record_property: Callable[[str, object], None]
) -> None:
    """A bit flipped anywhere in a journal file is found: by the CRC-32 of its line or by the form of the line."""
    set_stage(*stage)
    at = stage[1]
    path = journals(at)[2]
    size = path.stat().st_size
    dice = random.Random(7)
    offsets = sorted(dice.sample(range(size), min(size, 200)))
    unseen = []
    for offset in offsets:
        bit = dice.randrange(8)
        flip(path, offset, bit)
        if not {"journal_damaged", "journal_other_schema"} & found(looked(at)):
            unseen.append((offset, bit))
        flip(path, offset, bit)
    record_property(
        "measured", f"verify: {len(offsets)} bits flipped in a journal file, {len(offsets) - len(unseen)} found"
    )
    assert unseen == []


def test_a_second_library_beside_is_not_touched(stage: tuple[Path, Path]) -> None:
    """Rebuilding one library reads nothing of another, nor of what lies beside it."""
    set_stage(*stage)
    at = stage[1]
    shutil.copytree(at / "library", at / "other")
    before = snapshot(at / "other")
    rebuild(at / "library", seam=FixedSeam())
    assert snapshot(at / "other") == before


def test_a_text_of_the_catalogue_that_is_none_is_a_finding(stage: tuple[Path, Path]) -> None:
    """A flipped bit may make bytes that are no UTF-8; SQLite says so when the row is read, not before."""
    set_stage(*stage)
    at = stage[1]
    sql(at, "UPDATE records SET facts = CAST(x'7b22ff' AS TEXT) WHERE rowid = (SELECT max(rowid) FROM records)")
    result = looked(at)
    assert found(result) == {"catalogue"}
    assert "darklib rebuild" in result.catalogue
