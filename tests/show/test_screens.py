"""The screens: what people have to find on them, at 80 and 120 columns and in a pipe, and no escape code from data."""

import io
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pretend_results as pretend
import pytest
from any_result import any_of, hostile_text
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from darklib.jobs import results
from darklib.show import (
    change_screens,
    explain_screen,
    gaps_screen,
    ingest_screen,
    match_screen,
    objects,
    safety_screens,
    stock_screens,
)
from darklib.show.out import Out, cells

ROOT = Path("/libraries/one")
AFTER = ("darklib match", "shows what fits now")

Screen = Callable[[Out, Any], None]

SCREENS: dict[str, tuple[type[Any], Screen]] = {
    "init": (results.InitResult, change_screens.init),
    "status": (results.StatusResult, stock_screens.status),
    "ingest": (results.IngestResult, ingest_screen.ingest),
    "frames": (results.FramesResult, lambda out, it: stock_screens.frames(out, it, objects.paths(it.frames, ROOT))),
    "sets": (results.SetsResult, lambda out, it: stock_screens.sets(out, it.sets, None)),
    "bodies": (results.BodiesResult, stock_screens.bodies),
    "check": (results.CheckResult, safety_screens.check),
    "amend": (
        results.ChangedResult,
        lambda out, it: change_screens.changed(out, it, done="Amended", wanted="Would amend", following=AFTER),
    ),
    "batches": (results.BatchesResult, lambda out, it: stock_screens.batches(out, it.batches, None)),
    "match": (results.MatchResult, lambda out, it: match_screen.match(out, it.matches, it.unread)),
    "gaps": (results.GapsResult, gaps_screen.gaps),
    "export": (results.ExportResult, lambda out, it: change_screens.export(out, it, "/stack")),
    "trains": (results.TrainsResult, stock_screens.trains),
    "explain": (results.ExplainResult, explain_screen.explain),
    "set-aside": (results.SetAsideResult, lambda out, it: ingest_screen.set_aside(out, it, it.set_aside, None)),
    "verify": (results.VerifyResult, safety_screens.verify),
    "rebuild": (results.RebuildResult, safety_screens.rebuild),
}


def drawn(name: str, result: Any, width: int | None = None, **options: Any) -> str:
    stream = io.StringIO()
    SCREENS[name][1](Out(stream, width, **options), result)
    return stream.getvalue()


def words(shown: str) -> str:
    """Return what is on a screen as running words, however it was wrapped."""
    return " ".join(shown.split())


EXPECTED: list[tuple[str, Any, tuple[str, ...]]] = [
    ("init", pretend.INIT, ("new library", "/libraries/one", "Etc/UTC", "noon", "darklib ingest PATH")),
    (
        "status",
        pretend.STATUS,
        ("24 lights", "20 darks", "no biases", "1 flat", "5.2 GB", "settle", "garden camera", "24 frames stored"),
    ),
    (
        "ingest",
        pretend.INGEST,
        ("7 files seen", "4 frames", "already has", "Set aside", "short.fits", "shorter than its own"),
    ),
    ("frames", pretend.FRAMES, ("2026-10-03", "300 s", "undecided", "--after", "amend")),
    ("sets", pretend.SETS, ("garden camera, gain 100", "dark", "flat", "300 s", "-9.6 C", "darklib match")),
    ("bodies", pretend.BODIES, ("garden camera", "120", "remapped", "veyra-20m-bbbbb", "bodies name")),
    ("check", pretend.CHECK, ("Do not erase", "new.fits", "Never taken in.", "darklib ingest PATH")),
    ("check", pretend.SAFE, ("3 stored and read back", "second copy", "verify --against")),
    ("amend", pretend.AMENDED, ("Amended 1 frame", "kind: light -> dark", "darklib match")),
    ("batches", pretend.BATCHES, ("2026-10-03-kfmqz", "Owl cluster", "-10.1 C", "match --batch")),
    (
        "match",
        pretend.MATCHES,
        (
            "3 x 300 s", "filter L", "-10.2 to -10.0 C", "dithered",
            "Darks usable 2 x 300 s at -9.6 C, 0.5 C warmer, 27 days apart; scale by 0.6, then subtract from the",
            "2 darks are fewer than the 10 of a good set.",
            "Flats poor stale; 2 x 300 s at -9.6 C, same night, filter L", "turned by 37.0 degrees",
            "Biases missing Nothing in the library fits. Kept out: 2 sets: another gain or ISO.",
            "Dark flats not needed",
            "1 batch: 1 usable, 1 poor, 1 missing, 1 of them stale.", "The sensor is not measured yet", "--verbose",
            "darklib gaps --plan",
        ),
    ),
    (
        "match",
        pretend.ALL_SERVED,
        ("20 x 300 s at -10.1 C, same temperature", "Costs 3.2% more exposure time", "41%", "export --batch"),
    ),
    (
        "gaps",
        pretend.GAPS,
        ("darks", "20", "-10.0 C", "too late", "18 darks", "1 h 31 min", "1 h 40 min", "Cap the"),
    ),
    ("export", pretend.EXPORT, ("1 batch handed over to /stack", "manifest.json")),
    ("trains", pretend.TRAINS, ("Larkfell 80/480 480 mm", "53090185", "re-seated", "trains changed LABEL")),
    (
        "explain",
        pretend.EXPLAINED,
        ("EXPTIME", "odd", "COMMENT", "made at home", "filter: as in the file -> L", "forgot the header", "amend"),
    ),
    ("explain", pretend.UNREADABLE, ("Not usable", "shorter than its own header", "set-aside")),
    ("set-aside", pretend.SET_ASIDE, ("1 file set aside", "short.fits", "--retry")),
    ("verify", pretend.VERIFY, ("9 intact", "Differing", "Its content is not what was stored.", "--against")),
    ("verify", pretend.INTACT, ("10 intact", "in order", "/second/copy")),
    ("rebuild", pretend.REBUILD, ("10 frames", "was a dark", "old.sqlite", "darklib verify")),
]  # fmt: skip


@pytest.mark.parametrize("width", [80, 120, None])
@pytest.mark.parametrize(("name", "result", "expected"), EXPECTED)
def test_what_people_have_to_find_is_there(
    name: str, result: Any, expected: tuple[str, ...], width: int | None
) -> None:
    shown = drawn(name, result, width)
    for words_ in expected:
        assert words_ in words(shown)
    if width is not None:
        assert max(cells(line) for line in shown.splitlines()) <= width
    assert "\u2026" not in shown
    assert not re.search(r" $", shown, re.MULTILINE)


@pytest.mark.parametrize(("name", "result"), [(name, result) for name, result, _ in EXPECTED])
def test_every_screen_names_the_next_step_unless_quiet(name: str, result: Any) -> None:
    assert drawn(name, result).rstrip().splitlines()[-1].startswith("Next: ")
    assert "Next: " not in drawn(name, result, quiet=True)


@pytest.mark.parametrize("name", sorted(SCREENS))
@settings(max_examples=4, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(data=st.data())
def test_hostile_data_never_steers_the_terminal(name: str, data: st.DataObject) -> None:
    result = data.draw(any_of(SCREENS[name][0]))
    width = data.draw(st.sampled_from([None, 20, 80]))
    shown = drawn(name, result, width, verbose=data.draw(st.booleans()))
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e]", shown)
    shown.encode("utf-8")
    if width == 80:
        assert max(cells(line) for line in shown.splitlines()) <= width
    coloured = drawn(name, result, width, colour=True)
    # Only the codes of colour and weight that the screens put in themselves (ECMA-48, SGR).
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f]", re.sub("\x1b\\[[0-9;]*m", "", coloured))


@given(hostile_text)
def test_a_path_like_markup_is_shown_as_it_is(name: str) -> None:
    path = f"/astro/[dark]/[/]{name}"
    shown = drawn(
        "check", results.CheckResult(1, 0, (), (results.NotStored(path, "unknown", "new"),), (), False), colour=True
    )
    assert "/astro/[dark]/[/]" in shown


def test_the_runners_up_are_one_option_away() -> None:
    brief, full = drawn("match", pretend.MATCHES), drawn("match", pretend.MATCHES, verbose=True)
    assert "Next best" not in brief
    assert "Next best: poor, 2 x 300 s at -4.0 C, 6.1 C warmer, 13 months apart; subtract from the lights" in full
    assert "Kept out: 2 x 300 s at -9.6 C [set 2026-09-06-hhhhh]: another gain or ISO." in full


def test_every_verdict_is_a_word() -> None:
    plain, coloured = drawn("match", pretend.MATCHES), drawn("match", pretend.MATCHES, colour=True)
    assert re.sub("\x1b\\[[0-9;]*m", "", coloured) == plain


def test_a_retired_frame_is_told_in_words() -> None:
    retired = replace(pretend.EXPLAINED.amendments[0], field="retired", old=False, value=True)
    assert "retired: no -> yes" in drawn("explain", replace(pretend.EXPLAINED, amendments=(retired,)))


@pytest.mark.parametrize(
    ("name", "result", "told"),
    [
        ("frames", results.FramesResult(()), "No frames are like this."),
        ("batches", results.BatchesResult(()), "No lights are like this."),
        ("sets", results.SetsResult(()), "No calibration frames are like this."),
        ("match", results.MatchResult(()), "There are no lights to match."),
        ("gaps", results.GapsResult(()), "Nothing is lacking."),
        ("gaps", results.GapsResult((), lights=False), "There are no lights"),
        ("bodies", results.BodiesResult(()), "No camera is known yet."),
        ("trains", results.TrainsResult(()), "No optical train is known yet"),
        ("set-aside", results.SetAsideResult(()), "Nothing is set aside."),
        ("amend", results.ChangedResult(()), "Nothing had to be changed."),
        ("check", results.CheckResult(0, 0, (), (), (), False), "nothing can be said about erasing"),
    ],
)
def test_an_empty_result_says_so(name: str, result: Any, told: str) -> None:
    shown = drawn(name, result)
    assert told in shown
    assert "Next: " in shown


def test_what_was_removed_from_the_card_and_what_to_know_is_told() -> None:
    shown = words(drawn("ingest", pretend.INGEST))
    assert "Removed 4 files from the card." in shown
    assert "New camera Borrowed." in shown


def test_a_dry_run_says_that_nothing_was_changed() -> None:
    for name, result in (
        ("init", results.InitResult("/new", "Etc/UTC", dry_run=True)),
        ("amend", results.ChangedResult((pretend.CHANGED,), dry_run=True)),
        ("ingest", results.IngestResult(None, True, results.IngestCounts())),
        ("rebuild", results.RebuildResult(3, dry_run=True)),
    ):
        assert "othing was changed" in drawn(name, result)
