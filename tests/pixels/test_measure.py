import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from darklib.facts.frame import PixelFacts
from darklib.facts.plain import from_plain, to_plain
from darklib.pixels.measure import MEASUREMENT_VERSION, constant_rows, measure


def measured(data, cfa=None, **more):
    told = {"cfa_rows": None, "cfa_columns": None, "black_dn": None, "white_dn": None, "bits": None, **more}
    return measure(data, cfa=cfa, **told)


def noise(shape=(120, 160), level=1000.0, sigma=8.0, seed=1):
    return np.random.default_rng(seed).normal(level, sigma, shape).round().astype(np.uint16)


def test_levels_of_each_colour():
    data = noise()
    data[0::2, 0::2] += 300
    data[1::2, 1::2] += 100
    found = measured(data, "RGGB")
    red, green, blue = found.planes
    assert [plane.colour for plane in found.planes] == ["R", "G", "B"]
    for plane, level in ((red, 1300), (green, 1000), (blue, 1100)):
        assert plane.median_dn == pytest.approx(level, abs=1)
        assert plane.mean_dn == pytest.approx(level, abs=0.5)
        assert plane.sd_dn == pytest.approx(8, rel=0.05)
    assert found.exact
    assert (found.version, found.width, found.height) == (MEASUREMENT_VERSION, 160, 120)


@pytest.mark.parametrize("dtype", [np.uint8, np.int8, np.int16, np.uint16])
def test_integers_of_up_to_16_bits_are_exact(dtype):
    low, high = np.iinfo(dtype).min, np.iinfo(dtype).max
    data = np.random.default_rng(2).integers(low, high, (40, 50), dtype=dtype, endpoint=True)
    found = measured(data)
    assert found.exact
    assert (found.min_dn, found.max_dn) == (data.min(), data.max())
    assert found.median_dn == np.median(data.astype(int))


@pytest.mark.parametrize("dtype", [np.int32, np.uint32, np.float32, np.float64])
def test_wider_data_has_levels_that_are_not_exact(dtype):
    data = noise()
    found, whole = measured(data.astype(dtype)), measured(data)
    assert not found.exact
    assert found.dn_step is None
    assert (found.median_dn, found.mad_dn, found.max_dn) == (whole.median_dn, whole.mad_dn, whole.max_dn)
    assert found.mean_dn == pytest.approx(whole.mean_dn, rel=1e-9)
    assert found.structure["noise_dn"] == pytest.approx(whole.structure["noise_dn"], rel=1e-3)


def test_a_frame_scaled_to_one_has_the_same_structure():
    data = noise()
    data[::2, ::2] += 40
    one, two = measured(data, "RGGB").structure, measured((data / 65535).astype(np.float32), "RGGB").structure
    for name in ("channel_spread_sigma", "fall_mean_sigma", "glow_sigma"):
        assert one[name] == pytest.approx(two[name], abs=0.01), name


def test_values_that_are_not_finite_are_left_out():
    data = noise().astype(np.float32)
    clean = measured(data)
    data[3, 5:9] = [np.nan, np.inf, -np.inf, np.nan]
    found = measured(data)
    assert found.median_dn == clean.median_dn
    assert found.max_dn <= clean.max_dn
    with pytest.raises(ValueError, match="no pixel holds a finite value"):
        measured(np.full((50, 60), np.nan))


@pytest.mark.parametrize("shape", [(0, 5), (4,), (2, 3, 4)])
def test_only_a_plane_with_pixels_is_a_frame(shape):
    with pytest.raises(ValueError, match="two-dimensional"):
        measured(np.zeros(shape, dtype=np.uint16))


def test_constant_rows_are_counted():
    data = noise()
    data[[4, 90]] = 0
    data[7] = 1234
    data[8, 0] = data[8, 80] = data[8, -1] = 1000
    assert measured(data).zero_rows == 3
    assert constant_rows(np.zeros((5, 1))) == 0


@given(
    hnp.arrays(
        st.sampled_from([np.uint16, np.int16, np.float32]), hnp.array_shapes(min_dims=2, max_dims=2, max_side=70)
    ),
    st.sampled_from([None, "RGGB", "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG"]),
    st.none() | st.floats(min_value=-10, max_value=70000),
)
def test_any_array_is_measured_in_plain_numbers(data, cfa, white):
    if not np.isfinite(data).any():
        return
    with np.errstate(over="ignore", invalid="ignore"):
        found = measured(np.clip(data, -1e9, 1e9), cfa, white_dn=white)
    flat = [value for value in to_plain(found).values() if not isinstance(value, (list, dict))]
    figures = list(found.structure.values()) + [
        v for p in found.planes for v in (p.median_dn, p.mad_dn, p.mean_dn, p.sd_dn)
    ]
    assert {type(value) for value in flat + figures} <= {int, float, bool, type(None)}
    assert all(np.isfinite(value) for value in flat + figures if value is not None)
    assert from_plain(PixelFacts, json.loads(json.dumps(to_plain(found)))) == found


def test_the_same_array_gives_the_same_figures():
    assert measured(noise(), "RGGB") == measured(noise(), "RGGB")


def test_an_array_that_is_not_contiguous_gives_the_same_figures():
    wide = np.zeros((120, 170), dtype=np.uint16)
    wide[:, 5:165] = noise()
    assert measured(wide[:, 5:165], "RGGB") == measured(noise(), "RGGB")
