"""A sample of a frame's pixels for statistics over many frames: bands of whole rows, spread evenly over the picture.

A camera is measured from hundreds of frames, and two million pixels of each tell its gain and noise to a fraction of
a percent; so only they travel from the reading process to the one that counts.
"""

import os
from contextlib import suppress
from datetime import UTC, datetime
from io import FileIO

import numpy as np

from darklib.facts.codes import SET_ASIDE
from darklib.readers import contents, fits
from darklib.readers import sniff as sniffing
from darklib.readers.answers import Bands, Look, Refusal, Refused, SensorArray
from darklib.readers.structure import AtMost

TASK = "darklib.readers.bands:look_at_bands"
"""For `guard.Guard(task=...)`."""

ROWS_OF_BAND = 12
"""Divisible by the rows of the colour patterns in use, 1, 2 and 6."""

MOST_PIXELS = 2_000_000


def look_at_bands(path: str) -> Look:
    """The bands of one file, or a refusal. Nothing is hashed: stored files are what their hash says (`verify`)."""
    size, modified = 0, datetime.fromtimestamp(0, UTC)
    with suppress(OSError):
        found = os.stat(path)
        size, modified = found.st_size, datetime.fromtimestamp(found.st_mtime, UTC)
    try:
        sensor = _picture(path)
        if sensor.data.dtype != np.uint16:
            raise Refused("unsupported", "floating-point or 32-bit data")
        return Look(path, "", size, modified, bands=bands_of(sensor))
    except Refused as refused:
        return Look(path, "", size, modified, refusal=refused.refusal)
    except OSError as error:
        text = f"{SET_ASIDE['unreadable']}: {error.strerror or error}"
        return Look(path, "", size, modified, refusal=Refusal("unreadable", text))
    except MemoryError:
        raise
    except Exception as error:  # noqa: BLE001 - whatever a damaged file makes a library do: the rest goes on
        return Look(path, "", size, modified, refusal=Refusal("damaged", f"{SET_ASIDE['damaged']}: {error!r}"))


def bands_of(sensor: SensorArray, most_pixels: int = MOST_PIXELS) -> Bands:
    """Bands of a picture; all of it where it has no more than about `most_pixels`."""
    height, width = sensor.data.shape
    there = max(1, height // ROWS_OF_BAND)
    wanted = max(1, min(there, most_pixels // (ROWS_OF_BAND * width)))
    rows = min(ROWS_OF_BAND, height)
    tops = tuple(ROWS_OF_BAND * (place * there // wanted + there // (2 * wanted)) for place in range(wanted))
    data = np.empty((rows * wanted, width), dtype=np.uint16)
    for place, top in enumerate(tops):
        data[place * rows : (place + 1) * rows] = sensor.data[top : top + rows]
    return Bands(data, rows, tops, height, sensor.cfa, sensor.cfa_rows, sensor.cfa_columns)


def _picture(path: str) -> SensorArray:
    """The part of the sensor that sees light."""
    with FileIO(path, "rb") as handle:
        size = os.fstat(handle.fileno()).st_size

        def at_most(place: int, count: int) -> bytes:
            handle.seek(place)
            return handle.read(count) or b""

        found = sniffing.sniffed(at_most, path, size)
        if found.format is None:
            raise Refused(found.code or "no_image", found.text)
        handle.seek(0)
        data = memoryview(handle.readall())
    if found.format == "fits":
        from darklib.readers import fits_pixels

        own = not contents.is_gzipped(data)
        data = data if own else contents.unpacked(data)
        image, walked = fits.image_unit(_slicer(data), len(data))
        fits_pixels.check_size(image, len(data))
        return fits_pixels.pixels_of(image, fits.facts_of(image, walked), data, may_change=own)
    from darklib.readers import libraw, raws

    file = raws.opened(found.format, data)
    facts = raws.facts_of(file, data)
    raws.check_structure(file, facts, data)
    decoded = libraw.decode(path, facts)
    sensor = decoded.sensor
    top, left, height, width = decoded.picture
    cfa = sensor.cfa
    if cfa is not None and sensor.cfa_rows and sensor.cfa_columns:
        cfa = libraw.shifted(cfa, sensor.cfa_rows, sensor.cfa_columns, top, left)
    return SensorArray(
        sensor.data[top : top + height, left : left + width],
        cfa,
        sensor.cfa_rows,
        sensor.cfa_columns,
        sensor.black_dn,
        sensor.white_dn,
        sensor.bits,
    )


def _slicer(data: memoryview) -> AtMost:
    return lambda place, count: bytes(data[place : place + count])
