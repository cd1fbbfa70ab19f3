"""Nights from end to end: a run across noon, flats of the morning after, a wrong clock stated for a whole ingest."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from darklib.jobs.asked import Stated
from darklib.jobs.correct import undo
from darklib.jobs.explain import explain
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened
from darklib.jobs.match import lights_at
from darklib.scenario.fits_file import fits_bytes

NOON = datetime(2026, 10, 4, 13, 0, tzinfo=UTC)
"""Noon in the library's zone, which is an hour behind UTC."""


def put(card: Path, name: str, hours: float, kind: str = "Light Frame") -> str:
    card.mkdir(exist_ok=True)
    seed = abs(round(hours * 100)) + len(name)
    pixels = np.random.default_rng(seed).normal(900, 20, (64, 96)).astype(np.uint16)
    began = (NOON + timedelta(hours=hours)).strftime("%Y-%m-%dT%H:%M:%S")
    cards = [("INSTRUME", "Grey Box", ""), ("IMAGETYP", kind, ""), ("EXPTIME", 300.0, ""), ("DATE-OBS", began, "")]
    (card / name).write_bytes(fits_bytes(pixels, cards))
    return str(card / name)


def nights(opened: Opened, *paths: str) -> list[str | None]:
    frames = [explain(opened, path).frame for path in paths]
    return [frame.night if frame else None for frame in frames]


def test_a_run_and_its_flats_are_one_night_and_explain_says_why(opened: Opened, tmp_path: Path) -> None:
    card = tmp_path / "card"
    lights = [put(card, f"l{number}.fits", hours) for number, hours in enumerate((-0.5, -0.1, 0.3, 0.7))]
    flat = put(card, "f.fits", 1.4, "Flat Field")
    ingest(opened, [str(card)], workers=1)
    assert nights(opened, *lights, flat) == ["2026-10-03"] * 5
    told = [next(fact for fact in explain(opened, path).facts if fact.name == "night") for path in (lights[2], flat)]
    assert told[0].note == "by the clock 2026-10-04; an unbroken run of lights is one night"
    assert told[1].note == "by the clock 2026-10-04; flats of the morning after belong to the lights before them"
    assert next(fact for fact in explain(opened, lights[0]).facts if fact.name == "night").note == ""


def test_lights_looked_at_without_being_taken_in_are_one_night_too(opened: Opened, tmp_path: Path) -> None:
    card = tmp_path / "card"
    for number, hours in enumerate((-0.5, -0.1, 0.3)):
        put(card, f"l{number}.fits", hours)
    lights, _ = lights_at(opened, [str(card)])
    assert {light.night for light in lights} == {"2026-10-03"}


def test_a_wrong_clock_is_stated_for_an_ingest_and_taken_back(opened: Opened, tmp_path: Path) -> None:
    card = tmp_path / "card"
    lights = [put(card, f"l{number}.fits", hours) for number, hours in enumerate((-1.3, -1.2))]
    ingest(opened, [str(card)], Stated(clock_shift_s=3720.0 + 3600.0), workers=1)  # +2h02m
    result = explain(opened, lights[0])
    assert result.frame is not None
    assert result.frame.taken_at == NOON + timedelta(hours=-1.3, seconds=7320)
    assert (result.frame.time_from, result.frame.night) == ("header+clock", "2026-10-04")
    (said,) = result.amendments
    assert (said.field, said.value, said.undone) == ("clock_shift_s", 7320.0, False)
    undo(opened, lights)
    assert nights(opened, *lights) == ["2026-10-03", "2026-10-03"]
    assert explain(opened, lights[0]).amendments[0].undone


def test_a_dry_run_tells_the_nights_of_the_ingest(opened: Opened, tmp_path: Path) -> None:
    card = tmp_path / "card"
    for number, hours in enumerate((-0.5, -0.1, 0.3)):
        put(card, f"l{number}.fits", hours)
    put(card, "f.fits", 1.4, "Flat Field")
    dry = {frame.id: frame.night for frame in ingest(opened, [str(card)], dry_run=True, workers=1).stored}
    wet = {frame.id: frame.night for frame in ingest(opened, [str(card)], workers=1).stored}
    assert dry == wet
    assert set(wet.values()) == {"2026-10-03"}
