"""The journal: one append-only file a run, the truth beside the files.

A line is `{"schema":"darklib/journal/1","entry":{...},"crc32":n}` and a line feed; n is the CRC-32 of the bytes
of the entry exactly as they stand in the line. An entry counts when its line feed is there.
"""

import errno
import json
import re
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from io import FileIO
from pathlib import Path
from types import TracebackType
from typing import Any

from darklib.facts.errors import DarklibError
from darklib.store.batch import make_folders
from darklib.store.mishap import told
from darklib.store.names import shown
from darklib.store.seam import LETTERS, Seam, StrPath

SCHEMA = "darklib/journal/1"
SUFFIX = ".jsonl"
_HEAD = b'{"schema":"' + SCHEMA.encode() + b'","entry":'
_TAIL = re.compile(rb',"crc32":(\d{1,10})\}\Z')
_SURROGATE = re.compile("[\ud800-\udfff]")
_RUN_ID = re.compile(r"\d{8}T\d{6}Z-[0-9a-z]{7}\Z")
_TICKS = 32**3  # parts of a second told apart by the first three letters of a run's suffix


@dataclass(frozen=True, slots=True)
class Line:
    """One line read back.

    entry: what was recorded, or None where `trouble` says why not: 'torn' (the last line has no line feed, so it was
    never acknowledged), 'damaged' (checksum or form wrong), 'other_schema' (written by a newer darklib).
    offset, offset_after: bytes in the file where the line begins and where the next one would; after a torn line
    `offset_after` is where the torn line begins, since it may still be growing.
    """

    entry: dict[str, Any] | None
    offset: int
    offset_after: int
    trouble: str | None = None


def new_run_id(seam: Seam, folder: StrPath | None = None) -> str:
    """A run's id, as `20261125T093015Z-ab1c2d3`: sorted by name is sorted by time, to 1/32768 s.

    Seven letters follow the second: three for the part of the second, four by chance, so that two processes or
    two machines do not meet. With the journal's folder, the id also sorts after every run that is already there,
    even where the clock was put back meanwhile.
    """
    moment = seam.now()
    made = _run_id(moment, seam.token(4))
    if folder is not None:
        known = files(seam, folder)
        if known and known[-1].stem[:-4] >= made[:-4]:
            made = _after(known[-1].stem, seam.token(4)) or made
    return made


def _run_id(moment: datetime, chance: str) -> str:
    tick = moment.microsecond * _TICKS // 1_000_000
    part = LETTERS[tick // 1024] + LETTERS[tick // 32 % 32] + LETTERS[tick % 32]
    return f"{moment:%Y%m%dT%H%M%SZ}-{part}{chance}"


def _after(run_id: str, chance: str) -> str | None:
    try:
        second = datetime.strptime(run_id[:15] + "+0000", "%Y%m%dT%H%M%S%z")
        tick = sum(LETTERS.index(letter) * 32**place for place, letter in enumerate(reversed(run_id[17:20]))) + 1
    except ValueError:  # a file somebody named by hand
        return None
    if tick >= _TICKS:
        second, tick = second + timedelta(seconds=1), 0
    microsecond = -(-tick * 1_000_000 // _TICKS)  # rounded up, so that it falls into the next tick, not the last
    return _run_id(second.replace(microsecond=microsecond), chance)


def canonical(entry: Mapping[str, Any]) -> bytes:
    """An entry as bytes: sorted keys, no blanks, UTF-8; NaN and infinity are a ValueError.

    Lone surrogates (undecodable bytes of file names) are written as JSON escapes and come back as they were.
    """
    text = json.dumps(entry, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return _SURROGATE.sub(lambda match: f"\\u{ord(match.group()):04x}", text).encode("utf-8")


def line_of(entry: Mapping[str, Any]) -> bytes:
    """The whole line of an entry, line feed included."""
    body = canonical(entry)
    return b'%s%s,"crc32":%d}\n' % (_HEAD, body, zlib.crc32(body))


class JournalWriter:
    """Appends to this run's file; the file is made with the first entry, so a run that changes nothing leaves none.

    After a failed append the writer takes back what it can of the line and refuses to go on: what was told to have
    failed must not come to life at the next replay.
    """

    def __init__(self, seam: Seam, folder: StrPath, run_id: str) -> None:
        self.run_id = run_id
        self.path = Path(folder) / (run_id + SUFFIX)
        self.offset = 0  # bytes that are durable: where the next line begins
        self._seam = seam
        self._handle: FileIO | None = None
        self._broken = False

    def append(self, entry: Mapping[str, Any]) -> int:
        """One line, on the disk when this returns. Returns the offset after it."""
        return self.append_many([entry])

    def append_many(self, entries: Iterable[Mapping[str, Any]]) -> int:
        """Several lines with one fsync; all of them count when this returns. Returns the offset after the last.

        DarklibError where the disk refuses; ValueError for an entry that is not JSON (a bug, nothing is written).
        """
        block = b"".join(line_of(entry) for entry in entries)
        if self._broken:
            raise DarklibError(
                "journal_broken",
                f"The journal of this run could not be written before: {shown(str(self.path))}.",
                path=shown(str(self.path)),
                remedy="See the first error, then run the command again.",
            )
        if not block:
            return self.offset
        with told(self.path, "cannot write the journal"):
            try:
                handle = self._opened()
                rest = memoryview(block)
                while rest:
                    rest = rest[self._seam.write(handle, rest) :]
                self._seam.fsync(handle)
            except BaseException:
                self._broken = True
                self._take_back()
                raise
        self.offset += len(block)
        return self.offset

    def _opened(self) -> FileIO:
        if self._handle is None:
            make_folders(self._seam, self.path.parent)  # copies of a library may lack its empty folders
            self._handle = self._seam.create_exclusive(self.path)
            self._seam.fsync_folder(self.path.parent)
        return self._handle

    def _take_back(self) -> None:
        if self._handle is None:
            return
        try:
            self._seam.truncate(self._handle, self.offset)
            self._seam.fsync(self._handle)
        except OSError:
            pass  # a torn line stays; readers tolerate it

    def close(self) -> None:
        """Close the file; nothing is left to write."""
        if self._handle is not None:
            self._handle.close()
            self._handle = None

    def __enter__(self) -> "JournalWriter":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def read(seam: Seam, path: StrPath, offset: int = 0) -> Iterator[Line]:
    """The lines of one file from a byte offset on (0, or the `offset_after` of a line), in order.

    Trouble in a line is told in it and stops nothing. DarklibError where the file cannot be read.
    """
    with told(path, "cannot read the journal"), seam.open_read(path) as handle:
        size = seam.fstat(handle).st_size
        if offset:
            seam.seek(handle, offset)
        rest = b""
        while piece := seam.read(handle, 1 << 20):
            *whole, rest = (rest + piece).split(b"\n")
            for text in whole:
                after = offset + len(text) + 1
                yield _line(text, offset, after)
                offset = after
        if offset + len(rest) < size:  # the file may grow meanwhile, but not end before its end
            raise OSError(errno.EIO, "fewer bytes came than the file has")
        if rest:
            yield Line(None, offset, offset, "torn")


def _line(text: bytes, offset: int, after: int) -> Line:
    tail = _TAIL.search(text)
    if not text.startswith(_HEAD) or tail is None:
        return Line(None, offset, after, _other_schema(text) or "damaged")
    body = text[len(_HEAD) : tail.start()]
    if zlib.crc32(body) != int(tail.group(1)):
        return Line(None, offset, after, "damaged")
    try:
        entry = json.loads(body)
    except ValueError:
        return Line(None, offset, after, "damaged")
    if not isinstance(entry, dict):
        return Line(None, offset, after, "damaged")
    return Line(entry, offset, after)


def _other_schema(text: bytes) -> str | None:
    try:
        whole = json.loads(text)
    except ValueError:
        return None
    schema = whole.get("schema") if isinstance(whole, dict) else None
    return "other_schema" if isinstance(schema, str) and schema != SCHEMA else None


def files(seam: Seam, folder: StrPath) -> list[Path]:
    """The journal's files in the order of their runs. An absent folder has none."""
    with told(folder, "cannot read the journal folder"):
        try:
            entries = seam.scandir(folder)
        except FileNotFoundError:
            return []
    return [entry.path for entry in entries if entry.is_file and is_journal_name(entry.name)]


def is_journal_name(name: str) -> bool:
    """Whether a file in the journal folder is a run's file by its name."""
    return name.endswith(SUFFIX) and _RUN_ID.match(name[: -len(SUFFIX)]) is not None
