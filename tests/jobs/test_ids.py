"""What a user may call frames by."""

from dataclasses import replace
from pathlib import Path

import pytest

from darklib.facts.errors import DarklibError
from darklib.jobs.correct import restore, retire
from darklib.jobs.ids import frames_meant
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened
from darklib.jobs.overview import sets
from darklib.scenario.fits_shot import fits_shot
from darklib.scenario.trio import trio_shots


@pytest.fixture
def two_sets(opened: Opened, tmp_path: Path) -> Opened:
    """Return a library with a series of darks that is two sets, at -10 and at -5 degrees C."""
    dark = trio_shots()[0]
    (tmp_path / "card").mkdir()
    for number, celsius in enumerate((-10.0, -10.0, -5.0)):
        shot = replace(dark, seed=number, temperature_c=celsius, set_temperature_c=celsius)
        (tmp_path / "card" / f"dark_{number}.fits").write_bytes(fits_shot(shot))
    ingest(opened, [str(tmp_path / "card")], workers=1)
    return opened


def test_every_set_is_called_as_it_is_listed(two_sets: Opened) -> None:
    listed = [entry.set for entry in sets(two_sets).sets]
    assert sorted(one.count for one in listed) == [1, 2]
    for one in listed:
        assert frames_meant(two_sets, [one.id.upper()]) == [frame.sha256 for frame in one.frames]
    series = listed[0].id.rsplit("-", 1)[0]
    assert len(frames_meant(two_sets, [series])) == 3
    for nothing in (f"{series}-m7.0c", f"{series}-", "2026-09-06-aaaaa-m5.0c"):
        with pytest.raises(DarklibError, match="is meant by"):
            frames_meant(two_sets, [nothing])


def test_a_retired_set_is_restored_by_its_name(two_sets: Opened) -> None:
    name = next(entry.set.id for entry in sets(two_sets).sets if entry.set.count == 1)
    assert len(retire(two_sets, [name]).changed) == 1
    assert name not in [entry.set.id for entry in sets(two_sets).sets]
    assert len(restore(two_sets, [name]).changed) == 1
    assert name in [entry.set.id for entry in sets(two_sets).sets]
