import numpy as np
import pytest

from darklib.pixels.mosaic import MONO, mosaic_of, plane


def test_a_bayer_pattern_has_three_colours():
    mosaic = mosaic_of("RGGB", 2, 2)
    assert mosaic.colours == ("R", "G", "B")
    np.testing.assert_array_equal(mosaic.index, [[0, 1], [1, 2]])


@pytest.mark.parametrize("side", [2, 6])
def test_a_square_pattern_needs_no_size(side):
    letters = "RGB" * (side * side // 3) + "G" * (side * side % 3)
    assert mosaic_of(letters, None, None).index.shape == (side, side)


def test_a_pattern_need_not_be_square():
    mosaic = mosaic_of("RGBGRB", 2, 3)
    np.testing.assert_array_equal(mosaic.index, [[0, 1, 2], [1, 0, 2]])


@pytest.mark.parametrize("given", [(None, None, None), ("", 2, 2), ("RGG", 2, 2), ("RGGB", 3, 2), ("RGGB", 0, 2)])
def test_letters_that_fill_no_pattern_say_nothing(given):
    assert mosaic_of(*given) is MONO


def test_one_letter_throughout_is_mono():
    assert mosaic_of("LLLL", 2, 2) is MONO


def test_planes_hold_each_pixel_once():
    data = np.arange(35).reshape(5, 7)
    mosaic = mosaic_of("RGGB", 2, 2)
    values = np.concatenate([plane(data, mosaic, colour) for colour in mosaic.colours])
    assert sorted(values) == list(range(35))
    assert set(plane(data, mosaic, "R")) == {0, 2, 4, 6, 14, 16, 18, 20, 28, 30, 32, 34}
