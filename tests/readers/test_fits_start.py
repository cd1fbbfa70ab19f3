"""The start of the exposure, from the ways in which headers say it."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from fits_writing import frame

from darklib.readers.open import read_facts

AT = datetime(2024, 1, 2, 3, 4, 5, tzinfo=UTC)


def start(folder: Path, *cards: str) -> tuple[datetime | None, str | None]:
    path = folder / "a.fits"
    path.write_bytes(frame(*cards))
    facts = read_facts(path)
    return facts.taken_at, facts.time_origin


@pytest.mark.parametrize(
    ("cards", "moment", "origin"),
    [
        (["DATE-OBS= '2024-01-02T03:04:05'"], AT, "DATE-OBS"),
        (["DATE-OBS= '2024-01-02T03:04:05.5'"], AT + timedelta(seconds=0.5), "DATE-OBS"),
        (["DATE-OBS= '2024-01-02T05:04:05+02:00'"], AT, "DATE-OBS"),
        (["DATE-OBS= '2024-01-02T05:04:05+0200'"], AT, "DATE-OBS"),
        (["DATE-OBS= '2024-01-02T03:04:05Z'"], AT, "DATE-OBS"),
        (["DATE-OBS= '2024-01-02'", "TIME-OBS= '03:04:05'"], AT, "DATE-OBS+TIME-OBS"),
        (["DATE-OBS= '2024-01-02'", "UT      = '03:04:05.0'"], AT, "DATE-OBS+UT"),
        # The time in DATE-OBS comes first (HEASARC dictionary: TIME-OBS only when DATE-OBS carries none).
        (["DATE-OBS= '2024-01-02T03:04:05'", "TIME-OBS= '13:14:15'"], AT, "DATE-OBS"),
        (["DATE-OBS= '06/01/96'", "UT      = '01:02:03'"], datetime(1996, 1, 6, 1, 2, 3, tzinfo=UTC), "DATE-OBS+UT"),
        (["DATE-BEG= '2024-01-02T03:04:05'", "DATE-OBS= '2024-01-02T03:09:05'"], AT, "DATE-BEG"),
        (["DATE-END= '2024-01-02T03:09:05'", "EXPTIME = 300.0"], AT, "DATE-END"),
        (["DATE-AVG= '2024-01-02T03:06:35'", "EXPTIME = 300.0"], AT, "DATE-AVG"),
        (["DATE-OBS= '2024-01-02T03:09:05' / end of exposure", "EXPTIME = 300.0"], AT, "DATE-OBS"),
        (["MJD-OBS = 60311.12783564815"], AT, "MJD-OBS"),
        (["JD      = 2460311.62783564815"], AT, "JD"),
        (["DATE-OBS= '2024-01-02'", "MJD-OBS = 60311.12783564815"], AT, "MJD-OBS"),
        # TT is 32.184 s ahead of TAI, TAI 37 s ahead of UTC since 2017 (IERS Bulletin C 52).
        (["DATE-OBS= '2024-01-02T03:05:14.184'", "TIMESYS = 'TT'"], AT, "DATE-OBS"),
        (["DATE-OBS= '2024-01-02T03:04:42'", "TIMESYS = 'TAI'"], AT, "DATE-OBS"),
        (["DATE-OBS= '2024-01-02T03:04:23'", "TIMESYS = 'GPS'"], AT, "DATE-OBS"),
        (["DATE-OBS= '2024-01-02T03:04:05'", "TIMESYS = 'UTC'"], AT, "DATE-OBS"),
        (["DATE-LOC= '2024-01-02T03:04:05'"], AT.replace(tzinfo=None), "DATE-LOC"),
        (["DATE-OBS= '2024-01-02T03:04:05' / local time"], AT.replace(tzinfo=None), "DATE-OBS"),
        (["DATE-OBS= '2024-01-02T03:04:05'", "TIMESYS = 'LOCAL'"], AT.replace(tzinfo=None), "DATE-OBS"),
        (["DATE-OBS= '2024-01-02T03:04:05'", "DATE-LOC= '2024-01-02T04:04:05'"], AT, "DATE-OBS"),
        # A leap second, as in the standard's section 9.1.1.
        (["DATE-OBS= '2016-12-31T23:59:60.5'"], datetime(2017, 1, 1, 0, 0, 0, 500000, UTC), "DATE-OBS"),
        (["DATE    = '2024-01-02T03:04:05'"], None, None),
        (["DATE-OBS= '2024-01-02'"], None, None),
        (["DATE-END= '2024-01-02T03:09:05'"], None, None),
        (["DATE-OBS= '0000-00-00T00:00:00'"], None, None),
        (["MJD-OBS = 0.0"], None, None),
    ],
)  # fmt: skip
def test_the_start(tmp_path: Path, cards: list[str], moment: datetime | None, origin: str | None) -> None:
    found, where = start(tmp_path, *cards)
    assert where == origin
    if moment is None or found is None:
        assert found is moment
    else:
        assert (found.tzinfo is None) == (moment.tzinfo is None)
        assert abs(found - moment) < timedelta(milliseconds=2)
