"""Whether an array holds a picture at all, or is blank where one should be."""

import numpy as np
from numpy.typing import NDArray

from darklib.readers.answers import Refused, SensorData

SHARE = 0.02
LEAST = 4
"""More than this share of the rows, and at least this many, being one value each, means that pixels are missing.

A real frame has noise in every row. What is saturated everywhere is none the less a picture: rows at the highest
value of the frame do not count.
"""

STORED_ZERO = 32768
"""What zeros in the file mean where unsigned numbers are stored as signed ones; no camera saturates there."""

_PROBES = 16


def check_not_blank(data: SensorData) -> None:
    """Raises Refused 'pixels_missing' for an array of one value or with too many constant rows."""
    if data.dtype.kind == "f" and not np.isfinite(data).any():
        raise Refused("pixels_missing", "no pixel holds a number")
    rows = constant_rows(data)
    if not rows.any():
        return
    first = data[:, 0]
    top = data.max()
    if data.min() == top:
        if float(top) in (255.0, 4095.0, 16383.0, 65535.0):
            return
        raise Refused("pixels_missing", f"every pixel is {top:g}")
    blank = int(np.count_nonzero(rows & ((first != top) | (first == STORED_ZERO))))
    if blank >= LEAST and blank > SHARE * len(rows):
        raise Refused("pixels_missing", f"{blank} of {len(rows)} rows are blank")


def constant_rows(data: SensorData) -> NDArray[np.bool_]:
    """For each row whether all its pixels have one value. A few columns are looked at first, which clears most rows."""
    columns = np.unique(np.linspace(0, data.shape[1] - 1, _PROBES).astype(np.intp))
    probes = data[:, columns]
    found: NDArray[np.bool_] = (probes == probes[:, :1]).all(axis=1)
    for row in np.flatnonzero(found):
        found[row] = bool((data[row] == data[row, 0]).all())
    return found
