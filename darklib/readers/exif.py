"""A camera's tags by exifread, as plain values by name; slow or broken maker's notes are given up, not waited for."""

import io
import logging
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, BinaryIO, cast

from darklib.readers.boxes import Part

Tags = dict[str, Any]
"""By `group name` as exifread names them; the values are its tag objects with `values` and a printable form."""

NOTES_SECONDS = 3.0
"""A real maker's note takes less than 0.1 s."""

MOST_READS = 300_000
"""The heads of real files took up to 43,000; a parser that goes round in circles takes any number."""


class _TooLong(Exception):
    pass


def read_tags(data: memoryview, parts: tuple[Part, ...] = ()) -> Tags:
    """All tags of a TIFF-like file, or of the parts of a container. Empty where nothing can be read.

    The maker's note comes second: where it sends the parser round in circles (seen), the rest is known already.
    """
    if not parts:
        return _of(Window(data))
    found: Tags = {}
    for part in parts:
        inside = _of(Window(data[part.at : part.end]))
        if part.group:
            inside = {f"{part.group} {name.partition(' ')[2]}": tag for name, tag in inside.items() if " " in name}
        found.update(inside)
    return found


def _of(handle: "Window") -> Tags:
    found: Tags = {}
    with suppress(Exception), _at_most(NOTES_SECONDS):
        found.update(_process(handle, details=False))
        found.update(_process(handle, details=True))
    return found


def _process(handle: "Window", *, details: bool) -> Tags:
    import exifread

    logging.getLogger("exifread").setLevel(logging.CRITICAL + 1)
    tags: Tags = exifread.process_file(cast("BinaryIO", handle), details=details, extract_thumbnail=False)
    return tags


@contextmanager
def _at_most(seconds: float) -> Iterator[None]:
    """Raises _TooLong inside after that many seconds, where the system has such an alarm (not on Windows, and only in a
    main thread); elsewhere the guard's own limit holds, and kills.
    """
    if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
        yield
        return

    def ring(number: int, frame: object) -> None:
        raise _TooLong

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


class Window(io.RawIOBase):
    """Bytes in memory as a file that can be read and sought, without a copy."""

    def __init__(self, data: memoryview) -> None:
        super().__init__()
        self._data = data
        self._place = 0
        self._reads = 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        self._reads += 1
        if self._reads > MOST_READS:
            raise _TooLong
        end = len(self._data) if size < 0 else self._place + size
        piece = bytes(self._data[self._place : end])
        self._place += len(piece)
        return piece

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        start = (0, self._place, len(self._data))[whence]
        self._place = max(start + offset, 0)
        return self._place

    def tell(self) -> int:
        return self._place
