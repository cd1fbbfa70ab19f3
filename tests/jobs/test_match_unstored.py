"""Lights that are matched where they lie, without being taken in."""

from collections.abc import Callable
from pathlib import Path

import numpy as np

from darklib.facts.frame import Kind
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened
from darklib.jobs.match import lights_at, match
from darklib.scenario.fits_file import fits_bytes
from darklib.scenario.trio import trio

SEED = 20261003


def _grey_light() -> bytes:
    """A blank frame of medium level: header, name and pixels say nothing of what it is."""
    pixels = np.random.default_rng(SEED).normal(9000, 40, (64, 96)).astype(np.uint16)
    return fits_bytes(
        pixels, [("INSTRUME", "Grey Box", ""), ("EXPTIME", 30.0, ""), ("DATE-OBS", "2026-10-03T22:00:00", "")]
    )


def test_lights_are_matched_without_being_taken_in(
    opened: Opened, trio_card: Path, library: Path, tmp_path: Path, snapshot: Callable[[Path], dict[str, bytes]]
) -> None:
    dark, flat, light = (trio_card / file.name for file in trio(SEED))
    ingest(opened, [str(dark), str(flat)], workers=1)
    (trio_card / "notes.fits").write_text("no frame", "utf-8")
    before = snapshot(library), snapshot(trio_card), opened.catalogue.counts(), len(opened.catalogue.runs(100))
    result = match(opened, paths=[str(trio_card)])
    assert (snapshot(library), snapshot(trio_card)) == before[:2]
    assert (opened.catalogue.counts(), len(opened.catalogue.runs(100))) == before[2:]
    (found,) = result.matches
    assert [frame.path for frame in found.batch.frames] == [str(light)]
    assert found.darks.set is not None
    assert found.flats.set is not None
    assert [Path(item.path).name for item in result.unread] == ["notes.fits"]
    assert match(opened).matches == (), "the library itself holds no light"


def test_a_frame_of_no_known_kind_is_assumed_a_light_and_not_stated_one(opened: Opened, tmp_path: Path) -> None:
    card = tmp_path / "plain"
    card.mkdir()
    (card / "0001.fits").write_bytes(_grey_light())
    (frame,), unread = lights_at(opened, [str(card)])
    assert unread == ()
    assert frame.kind is Kind.LIGHT
    assert frame.kind_from is None
    assert frame.kind_confidence < 1.0
