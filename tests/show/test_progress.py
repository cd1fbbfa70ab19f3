"""Progress: rate and time left worked out by hand, plain lines by a clock of our own, a bar that data cannot steer."""

import io
import re

from any_result import hostile_text
from hypothesis import given

from darklib.show.progress import EVERY_S, FIRST_AFTER_S, Bar, Count, PlainLines, progress_on, time_left


class Clock:
    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_rate_and_time_left_by_bytes() -> None:
    # 30 of 120 MB in 10 s are 3 MB/s; the other 90 MB take 30 s.
    count = Count(total_files=4, total_bytes=120_000_000, started_s=100.0, files=1, bytes=30_000_000)
    assert count.rate(110.0) == "3.0 MB/s"
    assert count.left_s(110.0) == 30.0
    assert count.sentence(110.0) == "1 of 4 files, 30.0 MB of 120.0 MB, 3.0 MB/s, 30 s left"


def test_rate_and_time_left_by_files() -> None:
    # 5 of 20 files in 10 s are 0.5 a second; the other 15 take 30 s.
    count = Count(total_files=20, total_bytes=None, started_s=0.0, files=5)
    assert count.sentence(10.0) == "5 of 20 files, 0.5 files/s, 30 s left"


def test_nothing_is_promised_before_anything_is_known() -> None:
    assert Count(20, None, 0.0).left_s(10.0) is None
    assert Count(0, None, 0.0, files=3).left_s(10.0) is None
    assert Count(20, 100, 0.0, files=3, bytes=200).left_s(10.0) is None


def test_time_left_in_words() -> None:
    assert [time_left(value) for value in (0.2, 40, 185, 7800)] == ["1 s", "40 s", "3 min 05 s", "2 h 10 min"]


def test_plain_lines_come_now_and_then() -> None:
    clock, stream = Clock(), io.StringIO()
    lines = PlainLines(stream, clock)
    lines.start(100, None)
    for _ in range(100):
        clock.now_s += 0.2
        lines.advance("x", 10)
    lines.finish()
    shown = stream.getvalue().splitlines()
    # 20 s of work: after FIRST_AFTER_S, then every EVERY_S, and the end.
    assert len(shown) == 1 + int((20 - FIRST_AFTER_S) // EVERY_S) + 1
    assert shown[-1].startswith("100 of 100 files")


def test_a_short_job_says_nothing() -> None:
    clock, stream = Clock(), io.StringIO()
    lines = PlainLines(stream, clock)
    lines.start(2, 20)
    lines.advance("x", 10)
    lines.finish()
    lines.advance("late", 10)
    assert stream.getvalue() == ""


@given(hostile_text)
def test_a_note_is_harmless(note: str) -> None:
    for stream in (io.StringIO(), Terminal()):
        progress = progress_on(stream, no_colour=True)
        progress.note(note)
        assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f]", stream.getvalue())


def test_a_terminal_gets_a_bar_that_names_rate_and_goes_away() -> None:
    stream = Terminal()
    bar = progress_on(stream, no_colour=False)
    assert isinstance(bar, Bar)
    bar.start(2, None)
    bar.advance("/astro/[/]/\x1b[2Jx", 10_000_000)
    bar.note("[bold]a note\x1b[2J[/]")
    bar.pause()
    bar.advance("/b", 10_000_000)
    bar.finish()
    shown = stream.getvalue()
    assert "1 of 2 files" in shown
    assert "[bold]a note\\x1b[2J[/]" in shown
    assert "2 of 2 files" in shown
    bar.advance("/c", 1)
    bar.finish()


def test_a_pipe_gets_lines() -> None:
    assert isinstance(progress_on(io.StringIO(), no_colour=False), PlainLines)
