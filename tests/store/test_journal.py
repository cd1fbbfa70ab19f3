"""The journal: what was acknowledged is read back exactly; damage is told and stops nothing."""

from __future__ import annotations

import json
import math
import tempfile
import zlib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from breaking_seam import BreakingSeam
from hypothesis import given
from hypothesis import strategies as st

from darklib.facts.errors import DarklibError
from darklib.store import journal
from darklib.store.journal import JournalWriter, Line
from darklib.store.seam import LETTERS, Seam

RUN = "20261125T093015Z-ab1c2d3"
# A pair of surrogates that together spell one character is the one text JSON cannot keep apart from that character.
TEXT = st.text(st.characters(exclude_categories=["Cs"])) | st.binary(max_size=20).map(
    lambda raw: raw.decode("utf-8", "surrogateescape")
)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4),
    max_leaves=12,
)
ENTRIES = st.lists(st.dictionaries(TEXT, JSON, max_size=4), max_size=5)


def write(folder: Path, *entries: dict[str, object]) -> Path:
    with JournalWriter(Seam(), folder, RUN) as writer:
        for entry in entries:
            writer.append(entry)
    return writer.path


def entries(path: Path, offset: int = 0) -> list[object]:
    return [line.entry if line.trouble is None else line.trouble for line in journal.read(Seam(), path, offset)]


@given(ENTRIES)
def test_whatever_goes_in_comes_out(items: list[dict[str, object]]) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with JournalWriter(Seam(), folder, RUN) as writer:
            offset = writer.append_many(items)
        if not items:
            assert list(folder.iterdir()) == []
            return
        lines = list(journal.read(Seam(), writer.path))
        assert [line.entry for line in lines] == items
        assert [line.trouble for line in lines] == [None] * len(items)
        assert lines[-1].offset_after == offset == writer.path.stat().st_size
        # From the offset after any line on, the rest comes.
        for number, line in enumerate(lines):
            assert entries(writer.path, line.offset_after) == items[number + 1 :]
        # Valid UTF-8, and the same entry is always the same bytes.
        writer.path.read_bytes().decode("utf-8")
        assert [journal.line_of(dict(reversed(list(item.items())))) for item in items] == [
            journal.line_of(item) for item in items
        ]


@given(ENTRIES.filter(bool), st.data())
def test_a_file_cut_anywhere_gives_the_whole_lines_and_says_that_one_is_torn(
    items: list[dict[str, object]], data: st.DataObject
) -> None:
    whole = b"".join(journal.line_of(item) for item in items)
    cut = data.draw(st.integers(0, len(whole) - 1))
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "x.jsonl"
        path.write_bytes(whole[:cut])
        lines = list(journal.read(Seam(), path))
    good = [line for line in lines if line.trouble is None]
    assert [line.entry for line in good] == items[: len(good)]
    ends_at_a_line = cut == 0 or whole[:cut].endswith(b"\n")
    assert [line.trouble for line in lines[len(good) :]] == ([] if ends_at_a_line else ["torn"])
    if not ends_at_a_line:
        assert lines[-1].offset_after == lines[-1].offset == (good[-1].offset_after if good else 0)


@given(ENTRIES.filter(bool), st.data())
def test_any_flipped_bit_is_found_and_costs_one_line_at_most_two(
    items: list[dict[str, object]], data: st.DataObject
) -> None:
    """A flip in a line feed joins two lines; one that makes a line feed parts one; anywhere else it spoils one."""
    whole = bytearray(b"".join(journal.line_of(item) for item in items))
    at = data.draw(st.integers(0, len(whole) - 1))
    whole[at] ^= 1 << data.draw(st.integers(0, 7))
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "x.jsonl"
        path.write_bytes(bytes(whole))
        lines = list(journal.read(Seam(), path))
    assert any(line.trouble for line in lines)
    kept = [line.entry for line in lines if line.trouble is None]
    assert len(kept) >= len(items) - 2
    rest = list(items)
    for entry in kept:  # in order, none invented
        while rest[0] != entry:
            rest.pop(0)
        rest.pop(0)


def test_the_form_of_a_line(tmp_path: Path) -> None:
    path = write(tmp_path, {"b": 1, "a": "\u00e9\udcff"})
    raw = path.read_bytes()
    assert path.name == f"{RUN}.jsonl"
    assert raw == '{"schema":"darklib/journal/1","entry":{"a":"\u00e9\\udcff","b":1},"crc32":'.encode() + (
        str(zlib.crc32('{"a":"\u00e9\\udcff","b":1}'.encode())).encode() + b"}\n"
    )
    line = json.loads(raw)
    assert line["schema"] == "darklib/journal/1"
    assert line["entry"] == {"a": "\u00e9\udcff", "b": 1}


def test_damage_in_the_middle_does_not_hide_the_rest(tmp_path: Path) -> None:
    path = write(tmp_path, {"n": 1}, {"n": 2}, {"n": 3})
    lines = path.read_bytes().splitlines(keepends=True)
    path.chmod(0o644)
    for spoiled in (b"\n", b"garbage\n", b"[]\n", b"\x00\xff\n", lines[1].replace(b'"n":2', b'"n":9'), lines[1][5:]):
        path.write_bytes(lines[0] + spoiled + lines[2])
        assert entries(path) == [{"n": 1}, "damaged", {"n": 3}]
    body = b"[1]"
    path.write_bytes(b'{"schema":"darklib/journal/1","entry":[1],"crc32":%d}\n' % zlib.crc32(body))
    assert entries(path) == ["damaged"]
    body = b"{1}"
    path.write_bytes(b'{"schema":"darklib/journal/1","entry":{1},"crc32":%d}\n' % zlib.crc32(body))
    assert entries(path) == ["damaged"]


def test_a_line_of_a_newer_program_is_told_apart_from_damage(tmp_path: Path) -> None:
    path = write(tmp_path, {"n": 1})
    path.write_bytes(path.read_bytes() + b'{"schema":"darklib/journal/2","what":"else"}\n{"schema":3}\n')
    assert entries(path) == [{"n": 1}, "other_schema", "damaged"]


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_what_is_not_json_is_a_bug_and_writes_nothing(number: float, tmp_path: Path) -> None:
    with JournalWriter(Seam(), tmp_path, RUN) as writer:
        writer.append({"n": 1})
        with pytest.raises(ValueError, match="JSON compliant"):
            writer.append_many([{"n": 2}, {"n": number}])
        writer.append({"n": 3})
    assert entries(writer.path) == [{"n": 1}, {"n": 3}]


def test_a_run_that_records_nothing_leaves_no_file(tmp_path: Path) -> None:
    with JournalWriter(Seam(), tmp_path, RUN) as writer:
        assert writer.append_many([]) == 0
    assert list(tmp_path.iterdir()) == []


def test_a_run_never_writes_into_the_file_of_another(tmp_path: Path) -> None:
    path = write(tmp_path, {"n": 1})
    with JournalWriter(Seam(), tmp_path, RUN) as second, pytest.raises(DarklibError, match="cannot|Cannot"):
        second.append({"n": 2})
    assert entries(path) == [{"n": 1}]


def test_several_entries_cost_one_fsync(tmp_path: Path) -> None:
    seam = BreakingSeam()
    with JournalWriter(seam, tmp_path, RUN) as writer:
        writer.append_many({"n": number} for number in range(50))
    assert [name for name, _ in seam.calls] == ["is_folder", "create_exclusive", "fsync_folder", "write", "fsync"]
    assert len(entries(writer.path)) == 50


def test_an_entry_refused_by_the_disk_does_not_come_to_life(tmp_path: Path) -> None:
    """The bytes were written, the fsync failed: the line is taken back and the writer goes no further."""
    quiet = BreakingSeam()
    (tmp_path / "q").mkdir()
    with JournalWriter(quiet, tmp_path / "q", RUN) as writer:
        writer.append({"n": 1})
        writer.append({"n": 2})
    last = len(quiet.calls)
    assert quiet.calls[-1][0] == "fsync"
    with JournalWriter(BreakingSeam(last, "EIO"), tmp_path, RUN) as writer:
        writer.append({"n": 1})
        with pytest.raises(DarklibError, match="Cannot write the journal"):
            writer.append({"n": 2})
        with pytest.raises(DarklibError, match="could not be written before") as told:
            writer.append({"n": 3})
    assert told.value.code == "journal_broken"
    assert entries(writer.path) == [{"n": 1}]


def test_a_read_that_ends_early_is_an_error_and_not_a_shorter_journal(tmp_path: Path) -> None:
    path = write(tmp_path, {"n": 1}, {"n": 2})
    quiet = BreakingSeam()
    list(journal.read(quiet, path))
    first_read = 1 + [name for name, _ in quiet.calls].index("read")
    with pytest.raises(DarklibError, match="Cannot read the journal"):
        list(journal.read(BreakingSeam(first_read, "end"), path))
    assert [line.entry for line in journal.read(BreakingSeam(first_read, "short"), path)] == [{"n": 1}, {"n": 2}]


def test_a_long_journal_is_read_in_pieces(tmp_path: Path) -> None:
    items = [{"n": number, "text": "x" * 997} for number in range(3000)]
    with JournalWriter(Seam(), tmp_path, RUN) as writer:
        writer.append_many(items)
    assert writer.path.stat().st_size > 2 << 20
    assert entries(writer.path) == items


def test_reading_what_grows_goes_on_where_it_stopped(tmp_path: Path) -> None:
    with JournalWriter(Seam(), tmp_path, RUN) as writer:
        after = writer.append({"n": 1})
        whole = journal.line_of({"n": 2})
        with writer.path.open("ab") as half:
            half.write(whole[:20])
        assert list(journal.read(Seam(), writer.path, after)) == [Line(None, after, after, "torn")]
        with writer.path.open("ab") as half:
            half.write(whole[20:])
        assert entries(writer.path, after) == [{"n": 2}]


# Runs


class Clock(Seam):
    def __init__(self, moment: datetime, chance: str = "0000") -> None:
        self.moment = moment
        self.chance = chance

    def now(self) -> datetime:
        return self.moment

    def token(self, length: int = 8) -> str:
        return self.chance[:length]


MOMENTS = st.datetimes(datetime(2000, 1, 1), datetime(2099, 1, 1), timezones=st.just(UTC))


@given(MOMENTS, MOMENTS)
def test_runs_sort_by_time(a: datetime, b: datetime) -> None:
    first, second = (journal.new_run_id(Clock(moment, "zzzz" if moment == a else "0000")) for moment in (a, b))
    if b - a > timedelta(microseconds=31):  # one tick is 30.5 microseconds
        assert first < second
    assert journal.is_journal_name(first + ".jsonl")


@given(MOMENTS, st.integers(-(10**9), 10**9))
def test_a_run_sorts_after_those_that_are_there_even_if_the_clock_was_put_back(moment: datetime, off_us: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        earlier = journal.new_run_id(Clock(moment + timedelta(microseconds=off_us), "zzzz"))
        (Path(name) / f"{earlier}.jsonl").touch()
        later = journal.new_run_id(Clock(moment, "0000"), name)
        (Path(name) / f"{later}.jsonl").touch()
        third = journal.new_run_id(Clock(moment, "0000"), name)
    assert earlier < later < third
    assert len(later) == len(earlier)


def test_a_run_id_names_its_second_and_differs_from_the_next() -> None:
    seam = Seam()
    ids = {journal.new_run_id(seam) for _ in range(2000)}
    assert len(ids) == 2000
    moment = datetime(2026, 11, 25, 9, 30, 15, tzinfo=UTC)
    assert journal.new_run_id(Clock(moment, "ab12")) == "20261125T093015Z-000ab12"
    assert set(next(iter(ids))[17:]) <= set(LETTERS)


def test_files_come_in_the_order_of_runs_and_strangers_are_left_out(tmp_path: Path) -> None:
    for name in (
        "20261126T000000Z-0000000.jsonl",
        "20261125T235959Z-zzzzzzz.jsonl",
        "20261125T235959Z-0000000.jsonl",
        "notes.txt",
        ".20261125T235959Z-0000000.jsonl.abcdefgh.part",
        "20261125T235959Z-0000000.jsonl.bak",
        "copy of 20261125T235959Z-0000000.jsonl",
    ):
        (tmp_path / name).touch()
    (tmp_path / "20261127T000000Z-0000000.jsonl").mkdir()
    assert [path.name for path in journal.files(Seam(), tmp_path)] == [
        "20261125T235959Z-0000000.jsonl",
        "20261125T235959Z-zzzzzzz.jsonl",
        "20261126T000000Z-0000000.jsonl",
    ]
    assert journal.files(Seam(), tmp_path / "none") == []
    with pytest.raises(DarklibError, match="journal folder"):
        journal.files(BreakingSeam(1, "EIO"), tmp_path)
