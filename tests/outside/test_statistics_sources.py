"""Stars against scipy.ndimage: labels of what stands out, counted with connected pixels."""

import numpy as np
import pytest
from astropy.stats import sigma_clipped_stats
from scipy import ndimage

from darklib.pixels.mosaic import mosaic_of
from darklib.pixels.structure import structure


@pytest.mark.parametrize("seed", range(4))
def test_stars_and_hot_pixels_are_the_labels_of_many_and_of_one_pixel(seed):
    rng = np.random.default_rng(seed)
    shape = (320, 400)
    places, plane = np.zeros(shape), np.zeros(shape)
    for y in range(24, 300, 34):
        for x in range(24, 380, 34):
            dy, dx = rng.integers(-8, 9, 2)
            which = rng.random()
            if which < 0.4:
                places[y + dy, x + dx] = rng.uniform(3000, 30_000)
            elif which < 0.7:
                plane[y + dy, x + dx] = rng.uniform(200, 3000)
    data = rng.normal(1000, 12, shape) + ndimage.gaussian_filter(places, rng.uniform(0.9, 1.8)) + plane
    data = np.clip(np.rint(data), 0, 65535).astype(np.uint16)

    _, median, sd = sigma_clipped_stats(data)
    labels, count = ndimage.label(data > median + 5 * sd, structure=np.ones((3, 3)))
    sizes = ndimage.sum_labels(np.ones(shape), labels, np.arange(1, count + 1))
    many, single = int((sizes > 1).sum()), int((sizes == 1).sum())

    found = structure(data, mosaic_of(None, None, None), 0.29)[0]
    assert many > 15
    assert single > 15
    assert found["stars"] == pytest.approx(many, abs=2)
    assert found["hot_pixels"] == pytest.approx(single, abs=2)


def test_the_background_between_blocks_follows_a_median_filter():
    # A slope of a hundred sigma over the frame must neither make stars nor hide them.
    rng = np.random.default_rng(9)
    slope = np.linspace(0, 1500, 400)[np.newaxis, :] + np.linspace(0, 800, 300)[:, np.newaxis]
    stars = np.zeros((300, 400))
    stars[30::45, 30::45] = 4000
    data = rng.normal(1000, 12, (300, 400)) + slope + ndimage.gaussian_filter(stars, 1.2)
    flat = data - ndimage.median_filter(data, 15)
    labels, count = ndimage.label(flat > 5 * 12)
    sizes = ndimage.sum_labels(np.ones_like(flat), labels, np.arange(1, count + 1))
    found = structure(np.rint(data).astype(np.uint16), mosaic_of(None, None, None), 0.29)[0]
    assert found["stars"] == int((sizes > 1).sum()) == np.count_nonzero(stars)
