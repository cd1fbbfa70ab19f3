import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from darklib.pixels import histogram
from darklib.pixels.mosaic import mosaic_of, plane

frames = hnp.arrays(np.uint16, hnp.array_shapes(min_dims=2, max_dims=2, max_side=40))
narrow = hnp.arrays(
    np.uint16,
    hnp.array_shapes(min_dims=2, max_dims=2, max_side=30),
    elements=st.integers(min_value=997, max_value=1010),
)


@given(frames | narrow)
def test_levels_are_those_of_the_pixels(data):
    found = histogram.levels(histogram.histograms(data, mosaic_of(None, None, None))[0])
    values = data.astype(np.int64)
    median = np.median(values)
    assert found.count == data.size
    assert found.median == median
    assert found.mad == np.median(np.abs(values - median))
    assert (found.low, found.high) == (values.min(), values.max())


@given(frames | narrow)
def test_the_clipped_mean_is_that_of_the_values_within_three_sigma_of_the_median(data):
    found = histogram.levels(histogram.histograms(data, mosaic_of(None, None, None))[0])
    kept = data.astype(np.float64).ravel()
    while True:
        inside = kept[np.abs(kept - np.median(kept)) <= 3.0 * kept.std()]
        if inside.size in (0, kept.size):
            break
        kept = inside
    assert found.mean == pytest.approx(kept.mean(), rel=1e-12, abs=1e-9)
    assert found.sd == pytest.approx(kept.std(), rel=1e-9, abs=1e-6)


@given(frames, st.sampled_from(["RGGB", "GBRG", "RGBGRB", "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG"]), st.data())
def test_every_colour_is_counted_where_its_pixels_are(data, letters, more):
    rows = {4: 2, 6: more.draw(st.sampled_from([1, 2, 3, 6])), 36: 6}[len(letters)]
    mosaic = mosaic_of(letters, rows, len(letters) // rows)
    counts = histogram.histograms(data, mosaic)
    for colour, one in zip(mosaic.colours, counts, strict=True):
        np.testing.assert_array_equal(one, np.bincount(plane(data, mosaic, colour), minlength=65536))
    assert counts.sum() == data.size


def test_a_frame_longer_than_a_chunk_is_counted_whole():
    rng = np.random.default_rng(3)
    data = rng.integers(0, 65536, (1200, 700), dtype=np.uint16)
    assert data.size > 3 * histogram.CHUNK
    for letters in (None, "RGGB"):
        counts = histogram.histograms(data, mosaic_of(letters, None, None)).sum(axis=0)
        np.testing.assert_array_equal(counts, np.bincount(data.ravel(), minlength=65536))


def test_distances_below_the_median_do_not_wrap_round():
    # In uint16 the distance of 90 from 100 is 65526.
    counts = histogram.histograms(np.array([[90, 100, 100, 108, 116]], dtype=np.uint16), mosaic_of(None, None, None))
    assert histogram.levels(counts[0]).mad == 8.0


def test_a_median_between_two_values_is_half_way():
    counts = histogram.histograms(np.array([[5, 6]], dtype=np.uint16), mosaic_of(None, None, None))
    assert histogram.levels(counts[0]).median == 5.5


def test_sums_of_the_largest_values_lose_no_digit():
    counts = np.zeros(65536, dtype=np.int64)
    counts[[65534, 65535]] = 50_000_000
    found = histogram.levels(counts)
    assert (found.mean, found.sd) == (65534.5, 0.5)


def test_an_empty_histogram_has_no_levels():
    with pytest.raises(ValueError, match="without pixels"):
        histogram.levels(np.zeros(65536, dtype=np.int64))
    with pytest.raises(ValueError, match="without pixels"):
        histogram.quantile(np.zeros(65536, dtype=np.int64), 0.5)


@given(frames, st.floats(min_value=0.0, max_value=1.0))
def test_a_quantile_is_the_inverse_of_the_distribution(data, share):
    counts = histogram.histograms(data, mosaic_of(None, None, None))[0]
    assert histogram.quantile(counts, share) == np.quantile(data, share, method="inverted_cdf")


@pytest.mark.parametrize("step", [1, 2, 4, 16])
def test_the_step_of_shifted_data_is_found(step):
    rng = np.random.default_rng(step)
    data = (rng.normal(200, 6, (80, 90)).round() * step).astype(np.uint16)
    assert histogram.dn_step(histogram.histograms(data, mosaic_of(None, None, None))[0]) == step
    data[0, :20], data[1, :3] = 65535, 0
    assert histogram.dn_step(histogram.histograms(data, mosaic_of(None, None, None))[0]) == step


def test_a_few_values_tell_no_step():
    counts = np.zeros(65536, dtype=np.int64)
    counts[[500, 507, 514]] = 9
    assert histogram.dn_step(counts) is None
    counts[508] = 1
    assert histogram.dn_step(counts) == 1
    assert histogram.dn_step(np.bincount([7], minlength=65536)) is None


@given(frames)
def test_the_step_divides_every_distance_but_those_of_the_ends(data):
    counts = histogram.histograms(data, mosaic_of(None, None, None))[0]
    step = histogram.dn_step(counts)
    occupied = np.unique(data).astype(int)
    if step is not None:
        assert (np.diff(occupied[1:-1]) % step == 0).all()


def test_saturation_is_counted_from_the_white_level():
    data = np.full((10, 10), 100, dtype=np.uint16)
    data[0] = [4000, 4001, 4002, 4003, 100, 100, 100, 100, 100, 4095]
    counts = histogram.histograms(data, mosaic_of(None, None, None))[0]
    assert histogram.saturated_fraction(counts, 4002) == 0.03
    assert histogram.saturated_fraction(counts, None) == 0.0


def test_a_pile_at_the_top_is_saturation_below_the_white_level_told():
    rng = np.random.default_rng(5)
    data = np.minimum(rng.normal(3000, 700, (100, 100)), 3600).astype(np.uint16)
    share = np.count_nonzero(data == 3600) / data.size
    assert share > 0.1
    counts = histogram.histograms(data, mosaic_of(None, None, None))[0]
    assert histogram.saturated_fraction(counts, 4095.0) == pytest.approx(share)


def test_the_end_of_an_ordinary_distribution_is_no_saturation():
    data = np.random.default_rng(6).normal(500, 9, (200, 200)).astype(np.uint16)
    assert histogram.saturated_fraction(histogram.histograms(data, mosaic_of(None, None, None))[0], None) == 0.0
    constant = np.bincount([500] * 50, minlength=65536)
    assert histogram.saturated_fraction(constant, None) == 0.0
    assert histogram.saturated_fraction(constant, 500) == 1.0
