"""A cool-down run: the law of cooling recovered from readings, frames counted by hand, and what then lacks."""

from __future__ import annotations

import math
from datetime import timedelta

import pytest
from roll import READOUT, at, body

from darklib.facts.frame import Kind
from darklib.facts.match import Verdict
from darklib.facts.plan import Cooling, Gap, Interval
from darklib.facts.settings import Settings, Shooting
from darklib.planning.cool_down import (
    Reading,
    cool_downs,
    cooling_of,
    minutes_until_still,
    temperature_at,
)


def readings(start_c: float, end_c: float, half: float, minutes: int, *, whole: bool = False) -> list[Reading]:
    """Newton's law of cooling, as any textbook of heat has it (value from memory); read every five minutes."""
    begin = at("2026-11-01T19:00:00")
    found = []
    for t in range(0, minutes, 5):
        value = end_c + (start_c - end_c) * math.exp(-math.log(2) * t / half)
        found.append(Reading(begin + timedelta(minutes=t), float(round(value)) if whole else value))
    return found


def test_the_law_is_found_again() -> None:
    cooling = cooling_of([readings(24.0, 4.0, 20.0, 120)])
    assert cooling is not None
    assert cooling.start_c == pytest.approx(24.0, abs=0.3)
    assert cooling.end_c == pytest.approx(4.0, abs=0.3)
    assert cooling.half_minutes == pytest.approx(20.0, rel=0.05)
    assert cooling.series == 1


def test_whole_degrees_will_do() -> None:
    cooling = cooling_of([readings(24.0, 4.0, 20.0, 120, whole=True)])
    assert cooling is not None
    assert cooling.start_c == pytest.approx(24.0, abs=1.0)
    assert cooling.end_c == pytest.approx(4.0, abs=1.0)
    assert cooling.half_minutes == pytest.approx(20.0, rel=0.2)


def test_what_tells_nothing_is_not_learned_from() -> None:
    assert cooling_of([]) is None
    assert cooling_of([readings(8.0, 7.0, 20.0, 120)]) is None
    assert cooling_of([readings(24.0, 4.0, 20.0, 20)]) is None
    assert cooling_of([readings(24.0, 4.0, 200.0, 60)]) is None
    warming = [Reading(one.at, 30.0 - one.temperature_c) for one in readings(24.0, 4.0, 20.0, 120)]
    assert cooling_of([warming]) is None


def test_a_long_pause_ends_a_run() -> None:
    first, second = readings(24.0, 4.0, 20.0, 120), readings(20.0, 4.0, 10.0, 90)
    later = [Reading(one.at + timedelta(hours=5), one.temperature_c) for one in second]
    cooling = cooling_of([[*later, *first]])
    assert cooling is not None
    assert cooling.series == 2
    assert cooling.half_minutes == pytest.approx(15.0, rel=0.1)


def dark_gap(low_c: float, high_c: float, need: int = 6, *, cooled: bool | None = None) -> Gap:
    return Gap(
        Kind.DARK, "dark", body(), READOUT, 290.0, None, None, 10, 3000.0, (f"{low_c}",),
        Interval(low_c, high_c, (low_c + high_c) / 2), 0, need, Verdict.MISSING, cooled=cooled,
    )  # fmt: skip


def test_frames_a_degree_by_hand() -> None:
    """From 20 to 4 C, halved every 20 minutes: still (within 0.5) after 20 log2(16 / 0.5) = 100 minutes. Frames of 290
    s with 10 s of download are 5 minutes each, so 20 of them, the first read after 2.5 minutes. 8 to 12 C lasts from 20
    to 40 minutes: 4 frames. 4 to 5 C lasts from 80 to 100: 4 frames.
    """
    settings = Settings(shooting=Shooting(download_s=10.0, settling_minutes=20.0))
    cooling = Cooling(20.0, 4.0, 20.0, 1)
    assert minutes_until_still(cooling) == pytest.approx(100.0)
    assert temperature_at(cooling, 40.0) == pytest.approx(8.0)
    middle, low = dark_gap(8.0, 12.0), dark_gap(4.0, 5.0, need=4)
    (run,) = cool_downs([middle, low], {body().id: cooling}, settings)
    assert run.minutes == 100.0
    assert sum(one.frames for one in run.frames) == 20
    assert {one.low_c: one.frames for one in run.frames}[4.0] == 4
    assert run.serves == (middle.id, low.id)
    assert run.lacking == ((middle.id, 2),)


def test_unknown_is_said_and_coolers_are_left_out() -> None:
    (run,) = cool_downs([dark_gap(8.0, 12.0)], {}, Settings())
    assert (run.cooling, run.minutes, run.frames) == (None, None, ())
    assert [frames for _, frames in run.lacking] == [6]
    assert cool_downs([dark_gap(8.0, 12.0, cooled=True)], {}, Settings()) == []
