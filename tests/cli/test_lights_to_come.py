"""How people write lights to come and the time at hand; options that contradict each other."""

from __future__ import annotations

import pytest

from darklib.cli import planned
from darklib.cli.main import perform
from darklib.facts.errors import DarklibError, Exit
from darklib.planning.expected import Expected


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("300s", Expected(300.0)),
        ("300s -10C", Expected(300.0, -10.0, -10.0)),
        ("120s 8:12C iso 800 4h", Expected(120.0, 8.0, 12.0, None, 800, 4.0)),
        ("gain=100, 1/60s, -5:0c", Expected(1 / 60, -5.0, 0.0, 100.0)),
        ("2.5h 60s gain 0", Expected(60.0, None, None, 0.0, None, 2.5)),
    ],
)
def test_lights_to_come_as_written(text: str, meant: Expected) -> None:
    assert planned.expected(text) == meant


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "says no exposure"),
        ("8:12C", "says no exposure"),
        ("300s 60s", "says two exposures"),
        ("300s 8C 9C", "says two temperatures"),
        ("300s 1h 2h", "says the hours twice"),
        ("300s gain 1 gain 2", "says the gain or ISO twice"),
        ("300s gain 1 iso 100", "a gain or an ISO, not both"),
        ("300s -80C", "No sensor of a camera is at -80 C"),
        ("300s 12:8C", "end below where they begin"),
        ("0s 5C", "no exposure are no lights"),
        ("300s 0h", "0 hours of light"),
        ("300s warm", "holds 'warm'"),
    ],
)
def test_what_cannot_be_is_one_sentence(text: str, words: str) -> None:
    with pytest.raises(DarklibError, match=words) as caught:
        planned.expected(text)
    assert caught.value.status is Exit.USAGE
    assert caught.value.remedy


@pytest.mark.parametrize(("text", "minutes"), [("3h", 180.0), ("150min", 150.0), ("2:30", 150.0), ("0.5h", 30.0)])
def test_the_time_at_hand(text: str, minutes: float) -> None:
    assert planned.minutes_at_hand(text) == minutes


@pytest.mark.parametrize("text", ["", "soon", "0h", "-1h", "3", "2:3", "900h"])
def test_no_time_at_hand(text: str) -> None:
    with pytest.raises(DarklibError, match="evening"):
        planned.minutes_at_hand(text)


@pytest.mark.parametrize(
    "line",
    [
        "gaps --tonight --plan",
        "gaps --tonight --evening 2h",
        "gaps --tonight --follow",
        "gaps --follow --as text",
        "gaps --to page.html",
        "gaps --folder /cards",
        "gaps --as csv --json",
        "gaps --temperature 8:12",
        "gaps --humidity 0",
        "gaps --humidity 101",
        "gaps --room 80",
        "gaps --picture sky.bmp",
        "gaps --month 13",
    ],
)
def test_contradictions_are_wrong_usage(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert perform(line.split()) == Exit.USAGE
    assert capsys.readouterr().err
