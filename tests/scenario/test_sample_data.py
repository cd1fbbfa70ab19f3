"""The small files that ship with the project: readable, small, and what they are said to be."""

import io

import exifread
import numpy as np
import pytest
import rawpy
from astropy.io import fits

from darklib.scenario.nights import scenario
from darklib.scenario.trio import trio


def test_the_samples_stay_small(repository):
    assert sum(path.stat().st_size for path in (repository / "sample_data").iterdir()) < 1_000_000


@pytest.mark.parametrize("index", [0, 1, 2])
def test_the_fits_samples_are_the_trio(repository, index):
    file = trio()[index]
    stored = (repository / "sample_data" / file.name).read_bytes()
    made = file.make()
    assert fits.getheader(io.BytesIO(stored)).tostring() == fits.getheader(io.BytesIO(made)).tostring()
    # Another version of numpy may draw other numbers, so the pixels are compared by what matters.
    old, new = (fits.getdata(io.BytesIO(data)).astype(float) for data in (stored, made))
    assert np.median(old) == pytest.approx(np.median(new), rel=0.01)


def test_the_raw_sample_is_a_raw_file(repository):
    data = (repository / "sample_data" / "IMG_0001.DNG").read_bytes()
    with rawpy.imread(io.BytesIO(data)) as raw:
        assert raw.raw_image.shape == (64, 96)
        assert 2000 < np.median(raw.raw_image) < 3500
    tags = exifread.process_file(io.BytesIO(data))
    assert str(tags["EXIF BodySerialNumber"]) == "P4-200117"


def test_the_description_names_every_card_and_counts_right(repository):
    text = (repository / "sample_data" / "scenario.md").read_text(encoding="utf-8")
    s = scenario()
    for card in s.cards:
        assert card.name in text or card.name.removeprefix("first-fridge") in text
        if card.ingest_options:
            assert card.ingest_options[1] in text
    sound = sum(file.outcome == "stored" for _, file in s.placed())
    assert f"{len(s.placed())} files" in text
    assert f"{sound} sound frames" in text
