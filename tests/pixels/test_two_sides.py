"""Looking at the sides first must lose nothing that the look all around finds."""

import numpy as np
import pytest

from darklib.pixels import sources, star_shapes
from darklib.pixels.blocks import blocks_of
from darklib.pixels.mosaic import mosaic_of
from darklib.pixels.sources import Background


@pytest.mark.parametrize("cfa", [None, "RGGB"])
def test_whatever_shines_has_two_lit_sides(cfa: str | None) -> None:
    rng = np.random.default_rng(20261125)
    plane = rng.normal(1000.0, 12.0, (240, 320))
    # Light spread over one to four pixels, faint to bright: many places are just lit enough, or just not.
    for _ in range(4000):
        y, x = rng.integers(4, 234), rng.integers(4, 314)
        height = 10.0 ** rng.uniform(1.0, 3.5)
        sides = rng.uniform(0.0, 0.4, (5, 5)) * (rng.random((5, 5)) < 0.5)
        plane[y - 2 : y + 3, x - 2 : x + 3] += height * sides
        plane[y, x] += height
    data = np.clip(plane, 0, 65535).astype(np.uint16)
    blocks = blocks_of(data, mosaic_of(cfa, None, None), 0.3)
    assert blocks is not None
    background = Background(data, blocks)
    y, x = (places.ravel() for places in np.mgrid[3:237, 3:317])
    peak = np.maximum(background.sigmas(y, x), 3.5).astype(np.float32)
    around = np.stack(
        [
            *(background.sigmas(y + dy, x + dx) for dy, dx in star_shapes.BESIDE),
            *sources._same_colour(background, y, x),
        ]
    )
    shining = star_shapes.shines(around, peak)
    hopeful = sources._lit_sides(background, y, x, peak)
    assert 500 < int(shining.sum()) < int(hopeful.sum()) < 0.8 * peak.size
    assert not (shining & ~hopeful).any()
