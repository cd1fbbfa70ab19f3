"""What the catalogue stores, read by others: SQLite's own date functions, numpy's median."""

import sqlite3
import sys
from contextlib import closing
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "catalogue"))
from catalogue_material import applied, made, stored

MOMENTS = [
    "2026-10-03T21:00:00+02:00",
    "2024-02-29T23:59:59-11:30",
    "1999-12-31T23:59:59+00:00",
    "1969-07-20T20:17:40Z",
]


@pytest.mark.parametrize("text", MOMENTS)
def test_instants_are_what_sqlite_makes_of_the_same_text(tmp_path: Path, text: str) -> None:
    """SQLite documentation, "Date And Time Functions", sections 2 and 4: zone suffixes of time values, %s."""
    with made(tmp_path) as catalogue:
        applied(catalogue, [stored("a", at=datetime.fromisoformat(text))])
    with closing(sqlite3.connect(catalogue.path)) as connection:
        difference = "SELECT taken_at - 1000000 * CAST(strftime('%s', ?) AS INTEGER) FROM frames"
        (found,) = connection.execute(difference, [text]).fetchone()
    assert found == 0


def test_fractions_of_a_second_are_exact_where_a_double_would_not_be(tmp_path: Path) -> None:
    """A day in 2026 is 1.8e15 microseconds since 1970, less than 2^53: compared here with exact integers of Python."""
    at = datetime(2026, 10, 3, 21, 0, 0, 999999, tzinfo=timezone(timedelta(hours=5, minutes=45)))
    with made(tmp_path) as catalogue:
        applied(catalogue, [stored("a", at=at)])
        (frame,) = catalogue.frames_by_id([stored("a").record.sha256])
    assert frame.taken_at == at


@pytest.mark.parametrize("count", [1, 2, 7, 20])
def test_the_median_temperature_is_numpys(tmp_path: Path, count: int) -> None:
    """numpy.median (NumPy reference): the mean of the two middle values where their number is even."""
    temperatures = np.round(np.random.default_rng(count).normal(-10, 2, count), 2)
    with made(tmp_path) as catalogue:
        applied(catalogue, [stored(n, sensor_temperature_c=float(one)) for n, one in enumerate(temperatures)])
        (series,) = catalogue.series()
    assert series.temperatures.median_c == pytest.approx(np.median(temperatures), abs=1e-9)
    assert (series.temperatures.min_c, series.temperatures.max_c) == (temperatures.min(), temperatures.max())
