"""Hot pixels of one frame: single pixels are found with their excess, stars and bright columns are not; the bytes."""

import struct
from zlib import crc32

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from darklib.pixels.hot import MOST, HotPixels, decoded, encoded, hot_pixels

HEIGHT, WIDTH, NOISE = 240, 320, 12.0
FILTERS = [(None, None), ("RGGB", 2), ("GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG", 6)]


def quiet(seed: int = 1) -> NDArray[np.float64]:
    return np.random.default_rng(seed).normal(1000.0, NOISE, (HEIGHT, WIDTH))


def looked_at(frame: NDArray[np.float64], cfa: str | None = None, side: int | None = None) -> HotPixels:
    whole = np.clip(np.rint(frame), 0, 65535).astype(np.uint16)
    found = hot_pixels(whole, cfa=cfa, cfa_rows=side, cfa_columns=side, dn_step=1)
    assert found is not None
    return found


def scattered(count: int, seed: int = 2) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    places = np.random.default_rng(seed).choice((HEIGHT - 40) * (WIDTH - 40), count, replace=False)
    y, x = np.divmod(places, WIDTH - 40)
    return y + 20, x + 20


@pytest.mark.parametrize(("cfa", "side"), FILTERS)
def test_hot_pixels_are_found_with_their_excess(cfa: str | None, side: int | None) -> None:
    y, x = scattered(150)
    excess = np.linspace(12 * NOISE, 2000.0, y.size)
    frame = quiet()
    if cfa:  # each colour at a level of its own
        letters = np.array(list(cfa)).reshape(side or 1, -1)
        tiled = np.tile(letters, (HEIGHT // letters.shape[0] + 1, WIDTH // letters.shape[1] + 1))[:HEIGHT, :WIDTH]
        frame += np.select([tiled == "R", tiled == "G"], [300.0, 900.0], 0.0)
    frame[y, x] += excess
    found = looked_at(frame, cfa, side)
    there = np.isin(y * WIDTH + x, found.positions)
    assert np.count_nonzero(there) >= 0.97 * y.size
    order = np.searchsorted(found.positions, (y * WIDTH + x)[there])
    off = found.excess_dn[order] - excess[there]
    assert abs(float(np.median(off))) < 0.5 * NOISE
    assert float(np.median(np.abs(off))) < 1.5 * NOISE
    assert np.count_nonzero(~np.isin(found.positions, y * WIDTH + x)) <= 2
    assert float(np.median(found.noise_dn)) == pytest.approx(NOISE, rel=0.06)


@pytest.mark.parametrize("width", [1.6, 2.5, 4.0])
@pytest.mark.parametrize(("cfa", "side"), FILTERS[:2])
def test_stars_are_no_hot_pixels(width: float, cfa: str | None, side: int | None) -> None:
    rng = np.random.default_rng(5)
    frame = quiet()
    rows, columns = np.mgrid[0:HEIGHT, 0:WIDTH]
    for _ in range(60):
        cy, cx = rng.uniform(20, HEIGHT - 20), rng.uniform(20, WIDTH - 20)
        near = np.exp(-0.5 * ((rows - cy) ** 2 + (columns - cx) ** 2) / (width / 2.355) ** 2)
        frame += rng.uniform(15, 400) * NOISE * near
    # where two stars run into each other their middle may look lonely
    assert looked_at(frame, cfa, side).count <= 6


@pytest.mark.parametrize(("cfa", "side"), FILTERS)
def test_many_stars_do_not_crowd_out_the_hot_pixels(
    cfa: str | None, side: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("darklib.pixels.hot.MOST_LOOKED_AT", 1_500)
    rng = np.random.default_rng(6)
    frame = quiet()
    rows, columns = np.mgrid[-6:7, -6:7]
    star = np.exp(-0.5 * (rows**2 + columns**2) / 1.1**2)
    for y, x in rng.integers(10, (HEIGHT - 10, WIDTH - 10), (150, 2)):
        frame[y - 6 : y + 7, x - 6 : x + 7] += rng.uniform(100, 800) * NOISE * star
    y, x = scattered(100, seed=7)
    lonely = frame[y, x] < 1000.0 + 5 * NOISE
    y, x = y[lonely], x[lonely]
    frame[y, x] += 20 * NOISE
    found = looked_at(frame, cfa, side)
    assert np.count_nonzero(np.isin(y * WIDTH + x, found.positions)) >= 0.75 * y.size
    assert np.count_nonzero(~np.isin(found.positions, y * WIDTH + x)) <= 10


def test_bright_columns_and_rows_are_left_out() -> None:
    frame = quiet()
    frame[:, 100] += 300.0
    frame[60] += 300.0
    rng = np.random.default_rng(3)
    frame[rng.choice(HEIGHT, 40, replace=False), 200] += rng.uniform(200, 900, 40)  # one that is bright here and there
    assert looked_at(frame).count <= 2


def test_a_nebula_and_a_gradient_are_no_hot_pixels() -> None:
    y, x = np.mgrid[-1 : 1 : HEIGHT * 1j, -1 : 1 : WIDTH * 1j]
    level = 1000.0 + 4000.0 * np.exp(-6 * (x**2 + y**2)) + 800.0 * x
    frame = np.random.default_rng(4).normal(level, NOISE * np.sqrt(level / 1000.0))
    assert looked_at(frame).count <= 5


def test_saturated_ones_are_marked() -> None:
    frame = quiet()
    y, x = scattered(40)
    frame[y, x] = np.where(np.arange(40) < 10, 99_999.0, 3000.0)
    whole = np.clip(frame, 0, 16_383).astype(np.uint16)
    found = hot_pixels(whole, cfa=None, cfa_rows=None, cfa_columns=None, white_dn=16_383, dn_step=1)
    assert found is not None
    assert set(found.positions[found.saturated]) == set((y * WIDTH + x)[:10])


def test_no_more_are_kept_than_the_bound_and_the_limit_says_so() -> None:
    rng = np.random.default_rng(6)
    frame = rng.normal(1000.0, NOISE, (800, 900))
    places = rng.choice(800 * 900, 6000, replace=False)
    excess = 200.0 * (1 + rng.pareto(1.2, places.size))
    frame.reshape(-1)[places] += excess
    found = looked_at(frame)
    assert 0.95 * MOST <= found.count <= MOST + 5
    assert len(encoded(found)) < 20_000
    assert float(found.excess_dn.min()) >= float(found.floor_dn.min()) > 10 * NOISE
    above = places[excess > 1.2 * float(found.floor_dn.max())]
    assert np.mean(np.isin(above, found.positions)) > 0.9


def test_other_numbers_than_16_bits() -> None:
    frame = quiet()
    y, x = scattered(60)
    frame[y, x] += 800.0
    frame[0, 0] = np.nan
    as_float = hot_pixels(frame.astype(np.float32), cfa=None, cfa_rows=None, cfa_columns=None)
    assert as_float is not None
    assert np.isin(y * WIDTH + x, as_float.positions).mean() > 0.95
    assert hot_pixels(np.zeros((30, 30), np.uint16), cfa=None, cfa_rows=None, cfa_columns=None) is None
    assert looked_at(np.full((HEIGHT, WIDTH), 65_535.0)).count == 0


@given(
    count=st.integers(0, 70),
    period=st.sampled_from([(1, 1), (2, 2), (6, 6)]),
    seed=st.integers(0, 1000),
)
def test_the_bytes_come_back_as_they_were(count: int, period: tuple[int, int], seed: int) -> None:
    rng = np.random.default_rng(seed)
    places = np.sort(rng.choice(2**32 - 1, count, replace=False)).astype(np.uint32)
    figures = rng.uniform(1, 9, period).astype(np.float32)
    hot = HotPixels(70_000, 60_000, places, rng.uniform(0, 9, count).astype(np.float32), rng.random(count) < 0.3,
                    figures, figures * 6)  # fmt: skip
    back = decoded(encoded(hot))
    assert (back.width, back.height) == (hot.width, hot.height)
    for name in ("positions", "excess_dn", "saturated", "noise_dn", "floor_dn"):
        assert np.array_equal(getattr(back, name), getattr(hot, name))


def test_damaged_bytes_are_refused() -> None:
    whole = encoded(looked_at(quiet()))
    flipped = bytearray(whole)
    flipped[len(whole) // 2] ^= 1
    newer = bytearray(whole[:-4])
    newer[4:6] = struct.pack("<H", 99)
    for bad in (b"", whole[:-1], bytes(flipped), bytes(newer) + struct.pack("<I", crc32(newer)), whole + b"\0"):
        with pytest.raises(ValueError, match="evidence"):
            decoded(bad)
