"""Figures of spatial structure."""

from typing import Any

from numpy.typing import NDArray

from darklib.pixels.mosaic import Mosaic


def structure(data: NDArray[Any], mosaic: Mosaic) -> dict[str, float]:
    """Figures of spatial structure by name."""
    return {}
