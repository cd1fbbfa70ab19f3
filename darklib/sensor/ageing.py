"""How a sensor ages: the share of its hot pixels that came or went between two sets of darks.

A pixel has gone where the older darks predict it far above what the newer ones show, and no frame of these shows it; it
has come the other way round. What is predicted allows for exposure and temperature by the dark ratio, so that colder
darks, which show fewer pixels, have not aged.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from darklib.facts.sensor import Value
from darklib.sensor.reference import Reference
from darklib.sensor.thermometer import LEAST_PIXELS, dark_ratio

SURE = 2.0
"""Pixels count that are predicted at this many times the limit of what is seen: at twelve degrees' difference their own
laws scatter by a sixth, and one in ten thousand stays unseen."""


@dataclass(frozen=True, slots=True)
class Ageing:
    """share: of hot pixels that changed, 0 to 1, with its standard error. gone, come: pixels; compared: of how many."""

    share: Value
    gone: int
    come: int
    compared: int


def aged(before: Reference, after: Reference) -> Ageing | None:
    """What changed between two sets of darks of one body and readout; None where they cannot be compared."""
    forth, back = dark_ratio(after.hot, before), dark_ratio(before.hot, after)
    if forth is None and back is None:
        return None
    ratio = forth.value if forth is not None else 1.0 / back.value if back is not None else 1.0
    gone, of_old = _missing(before, after, ratio)
    come, of_new = _missing(after, before, 1.0 / ratio)
    compared = of_old + of_new
    if compared < LEAST_PIXELS:
        return None
    share = (gone + come) / compared
    # Agresti and Coull's interval (1998), The American Statistician 52, 119: honest for shares near nothing too
    centre = (gone + come + 2.0) / (compared + 4.0)
    error = float(np.sqrt(centre * (1.0 - centre) / (compared + 4.0)))
    return Ageing(Value(share, error), gone, come, compared)


def _missing(here: Reference, there: Reference, ratio: float) -> tuple[int, int]:
    """How many pixels of one set the other should show for sure and does not, and how many it should."""
    positions: NDArray[np.uint32] = here.hot.positions
    floor = there.hot.at(there.hot.floor_dn, positions)
    # Whatever noise lifts a pixel over the limit in its own set lifts it by little.
    own = here.hot.at(here.hot.floor_dn, positions)
    sure = (ratio * here.hot.excess_dn >= SURE * floor) & (here.hot.excess_dn >= SURE * own)
    return int(np.count_nonzero(sure & ~np.isin(positions, there.seen))), int(np.count_nonzero(sure))
