"""The colour filter mosaic: which colour each sensor pixel sees, for patterns of any rows x columns."""

from dataclasses import dataclass
from math import isqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Mosaic:
    """colours: the distinct letters in order of first appearance, "" alone for a mono sensor.
    index: the colour's number at each place of the repeating pattern, (rows, columns).
    """

    colours: tuple[str, ...]
    index: NDArray[np.intp]

    @property
    def rows(self) -> int:
        return int(self.index.shape[0])

    @property
    def columns(self) -> int:
        return int(self.index.shape[1])


MONO = Mosaic(("",), np.zeros((1, 1), dtype=np.intp))


def mosaic_of(cfa: str | None, rows: int | None, columns: int | None) -> Mosaic:
    """The mosaic of a pattern written row by row ("RGGB", 2, 2).

    Without rows and columns a pattern of four or thirty-six letters is square. Letters that do not fill the pattern
    say nothing, and the sensor is taken for mono: its levels are then those of all colours together.
    """
    letters = (cfa or "").strip().upper()
    if not letters:
        return MONO
    if rows is None or columns is None:
        side = isqrt(len(letters))
        rows, columns = side, side
    if rows < 1 or columns < 1 or rows * columns != len(letters):
        return MONO
    colours = tuple(dict.fromkeys(letters))
    if len(colours) == 1:
        return MONO
    number = {colour: place for place, colour in enumerate(colours)}
    index = np.array([number[letter] for letter in letters], dtype=np.intp).reshape(rows, columns)
    return Mosaic(colours, index)


def plane(data: NDArray[Any], mosaic: Mosaic, colour: str) -> NDArray[Any]:
    """All values of one colour, one-dimensional (a copy)."""
    number = mosaic.colours.index(colour)
    parts = [
        data[row :: mosaic.rows, column :: mosaic.columns].ravel()
        for row, column in zip(*np.nonzero(mosaic.index == number), strict=True)
    ]
    return np.concatenate(parts)
