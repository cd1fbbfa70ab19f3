"""Which files of a watched folder are settled: whole, and no longer written to.

Nothing but looks at names, sizes and times, at intervals: that works on network shares and on every system, where
messages from the kernel tell of local writers only. A file whose size keeps still may none the less be a copy under
way, since some copiers set the size first and fill the file afterwards. So a file is taken only when it was the same in
two looks, does not end in zeros, and is whole by its own structure, which the readers tell (`readers/complete`).

The clock of the files is compared with nothing but itself: it may stand in the future or in the past.
"""

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from darklib.store.seam import Seam
from darklib.store.walk import Found

LOOKS_APART_S = 5.0
"""So long a file must have been the same."""

PATIENCE_S = 3600.0
"""So long a file that is not whole may keep still before it counts as a file that will never be."""

SAID_AFTER_S = 60.0
"""A file that is held back is spoken of after so long: most are just being written."""

REMEMBERED_S = 6 * 3600.0
"""Files that were dealt with and are out of sight (a card, a share that does not answer) are known for so long."""

FIRST_PAUSE_S, LONGEST_PAUSE_S = 10.0, 600.0
FIRST_RETRY_S, LAST_RETRY_S = 60.0, 3600.0

TAIL = 8192
BLOCK = 2880
"""Bytes at the end of the data that must not all be zero; of a small file a quarter of it, or one FITS block."""

ZERO_TAIL = "it ends in zeros, as a copy that is not finished does"
STILL_CHANGES = "it still changes"


@dataclass(slots=True)
class _Wait:
    """A state of a file that is not dealt with. due_s: when to look into it; pause_s: how long to wait after that."""

    since_s: float
    due_s: float
    pause_s: float = FIRST_PAUSE_S
    retry_s: float = FIRST_RETRY_S
    said: str = ""


class Settling:
    """What the looks so far have shown. Holds some bytes a file that is in sight, and nothing of others for long.

    A file is known by path, size and time of change together: one that changes is another one. Times are those of a
    clock that only goes forward.
    """

    def __init__(self) -> None:
        self._known: dict[bytes, float] = {}
        self._waiting: dict[bytes, _Wait] = {}

    def __len__(self) -> int:
        return len(self._known) + len(self._waiting)

    def look(self, found: Iterable[Found], now_s: float, *, all_seen: Callable[[], bool]) -> list[Found]:
        """One look at the folders: those files that are to be looked into now, having been the same for long enough.

        found: taken one by one, so that none but those are kept. all_seen: asked at the end, whether all of the folders
        could be looked through, so that what is not there is gone.
        """
        waiting: dict[bytes, _Wait] = {}
        due = []
        for item in found:
            key = _key(item)
            if key in self._known:
                self._known[key] = now_s
                continue
            wait = self._waiting.get(key) or _Wait(now_s, now_s + LOOKS_APART_S)
            waiting[key] = wait
            if now_s >= wait.due_s:
                due.append(item)
        self._waiting = waiting
        oldest = now_s if all_seen() else now_s - REMEMBERED_S
        if any(seen_s < oldest for seen_s in self._known.values()):
            self._known = {key: seen_s for key, seen_s in self._known.items() if seen_s >= oldest}
        return due

    def hold_back(self, item: Found, now_s: float, why: str) -> bool:
        """The file is not settled; it is looked into again later, ever less often. Whether that is worth saying now."""
        wait = self._waiting.setdefault(_key(item), _Wait(now_s, now_s))
        wait.due_s = now_s + wait.pause_s
        wait.pause_s = min(2 * wait.pause_s, LONGEST_PAUSE_S)
        if now_s - wait.since_s < SAID_AFTER_S or why == wait.said:
            return False
        wait.said = why
        return True

    def out_of_patience(self, item: Found, now_s: float) -> bool:
        """Whether the file has been as it is for so long that it will not become whole by itself."""
        wait = self._waiting.get(_key(item))
        return wait is not None and now_s - wait.since_s >= PATIENCE_S

    def done(self, item: Found, now_s: float) -> None:
        """The file was dealt with and is not looked at again until it changes."""
        key = _key(item)
        self._waiting.pop(key, None)
        self._known[key] = now_s

    def failed(self, item: Found, now_s: float) -> None:
        """The file could not be read this time: it is tried again, ever less often, or when it changes."""
        wait = self._waiting.setdefault(_key(item), _Wait(now_s, now_s))
        wait.due_s = now_s + wait.retry_s
        wait.retry_s = min(2 * wait.retry_s, LAST_RETRY_S)


def _key(item: Found) -> bytes:
    text = f"{item.path}\0{item.size}\0{item.mtime_ns}"
    return hashlib.blake2b(text.encode("utf-8", "surrogateescape"), digest_size=12).digest()


def unsettled(seam: Seam, item: Found, data_end: int | None = None) -> str | None:
    """Why a file that looks settled is not: it changes, or ends in zeros. None where nothing speaks against it.

    data_end: where its data end by its own structure; what may follow is padding, zeros in many formats.
    It is opened: a share may answer a look at the folder from memory, but not an opening. OSError where it cannot be.
    """
    end = item.size if data_end is None else min(data_end, item.size)
    wanted = min(TAIL, max(BLOCK, end // 4), end)
    with seam.open_read(item.path) as handle:
        facts = seam.fstat(handle)
        if facts.st_size != item.size or facts.st_mtime_ns != item.mtime_ns:
            return STILL_CHANGES
        seam.seek(handle, end - wanted)
        tail = b""
        while len(tail) < wanted and (piece := seam.read(handle, wanted - len(tail))):
            tail += piece
    if len(tail) < wanted:
        return STILL_CHANGES
    return ZERO_TAIL if tail and not tail.strip(b"\0") else None
