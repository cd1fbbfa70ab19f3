"""How far a job is: a bar with rate and time left on a terminal, plain lines elsewhere. Always on standard error.

Rate and time left go by bytes where the job knows them, else by files.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import IO, Any

from darklib.jobs.ports import Progress
from darklib.show.out import is_terminal
from darklib.show.text import harmless, size, some

EVERY_S = 5.0
"""Plain lines come no more often than this."""

FIRST_AFTER_S = 2.0
"""A job that is done sooner shows no plain lines at all."""


def progress_on(stream: IO[str], *, no_colour: bool) -> Progress:
    """A bar where the stream is a terminal, else plain lines."""
    return Bar(stream, no_colour) if is_terminal(stream) else PlainLines(stream)


@dataclass(slots=True)
class Count:
    """What was done of what is to be done, and how fast. Times are of a clock that only goes forward."""

    total_files: int
    total_bytes: int | None
    started_s: float
    files: int = 0
    bytes: int = 0

    def rate(self, now_s: float) -> str:
        """`85.0 MB/s`, or `12 files/s` where bytes are not known."""
        passed = max(now_s - self.started_s, 1e-6)
        if self.bytes:
            return f"{size(round(self.bytes / passed))}/s"
        return f"{self.files / passed:.3g} files/s"

    def left_s(self, now_s: float) -> float | None:
        """Seconds that the rest takes at the pace so far; None where that cannot be said."""
        passed = now_s - self.started_s
        done, total = (self.bytes, self.total_bytes) if self.total_bytes else (self.files, self.total_files)
        if passed <= 0 or not done or not total or done > total:
            return None
        return passed * (total - done) / done

    def sentence(self, now_s: float) -> str:
        """`120 of 500 files, 3.1 GB of 12.0 GB, 85.0 MB/s, 1 min 40 s left`."""
        parts = [
            f"{self.files:,} of {some(self.total_files, 'file')}" if self.total_files else some(self.files, "file")
        ]
        if self.total_bytes:
            parts.append(f"{size(self.bytes)} of {size(self.total_bytes)}")
        elif self.bytes:
            parts.append(size(self.bytes))
        if self.files:
            parts.append(self.rate(now_s))
        left = self.left_s(now_s)
        if left is not None and self.files < self.total_files:
            parts.append(f"{time_left(left)} left")
        return ", ".join(parts)


def time_left(seconds: float) -> str:
    """`40 s`, `3 min 05 s`, `2 h 10 min`."""
    whole = max(1, round(seconds))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


class PlainLines:
    """Progress as lines for a log file or a pipe: one every few seconds, and one at the end of a job that took long."""

    def __init__(self, stream: IO[str], clock: Callable[[], float] = time.monotonic) -> None:
        self._stream = stream
        self._clock = clock
        self._count: Count | None = None
        self._due_s = 0.0
        self._spoke = False

    def start(self, total_files: int, total_bytes: int | None) -> None:
        now = self._clock()
        if self._count is None:
            self._count = Count(total_files, total_bytes, now)
            self._due_s, self._spoke = now + FIRST_AFTER_S, False
        else:
            self._count.total_files, self._count.total_bytes = total_files, total_bytes

    def advance(self, path: str, size: int) -> None:
        if self._count is None:
            return
        self._count.files += 1
        self._count.bytes += size
        now = self._clock()
        if now >= self._due_s:
            self._due_s, self._spoke = now + EVERY_S, True
            self._write(self._count.sentence(now))

    def note(self, text: str) -> None:
        self._write(text)

    def finish(self) -> None:
        if self._count is not None and self._spoke:
            self._write(self._count.sentence(self._clock()))
        self._count = None

    def _write(self, text: str) -> None:
        self._stream.write(harmless(text) + "\n")
        self._stream.flush()


@dataclass(slots=True)
class Bar:
    """Progress as a bar that stays in one place of the terminal."""

    stream: IO[str]
    no_colour: bool = False
    _live: Any = field(default=None, repr=False)
    _task: Any = field(default=None, repr=False)
    _count: Count | None = field(default=None, repr=False)

    def start(self, total_files: int, total_bytes: int | None) -> None:
        if self._count is None:
            self._count = Count(total_files, total_bytes, time.monotonic())
        else:
            self._count.total_files, self._count.total_bytes = total_files, total_bytes
        self._draw(self._count)

    def advance(self, path: str, size: int) -> None:
        if self._count is None:
            return
        self._count.files += 1
        self._count.bytes += size
        self._draw(self._count)

    def note(self, text: str) -> None:
        if self._live is None:
            self.stream.write(harmless(text) + "\n")
            self.stream.flush()
            return
        from rich.text import Text

        self._live.console.print(Text(harmless(text)), soft_wrap=True)

    def finish(self) -> None:
        self.pause()
        self._count = None

    def pause(self) -> None:
        """Takes the bar off the screen, for instance while a question is asked; the next `advance` brings it back."""
        if self._live is not None:
            self._live.stop()
            self._live = None

    def _draw(self, count: Count) -> None:
        if self._live is None:
            self._begin()
        total = count.total_bytes or count.total_files or None
        done = count.bytes if count.total_bytes else count.files
        self._live.update(self._task, total=total, completed=done, words=count.sentence(time.monotonic()))

    def _begin(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, TextColumn
        from rich.progress import Progress as Live

        console = Console(
            file=self.stream,
            markup=False,
            emoji=False,
            highlight=False,
            no_color=self.no_colour or None,
            soft_wrap=True,
        )
        # The words are ours and the path is not among them: nothing of a file's name reaches the bar.
        self._live = Live(
            BarColumn(bar_width=20), TextColumn("{task.fields[words]}", markup=False), console=console, transient=True
        )
        self._task = self._live.add_task("", total=None, words="")
        self._live.start()
