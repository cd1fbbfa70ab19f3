"""The pixels of a FITS image, from the bytes of the whole file."""

import io
import math
import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from darklib.facts.frame import FrameFacts, FrameWarning
from darklib.readers.answers import Refused, SensorArray, SensorData, whole_numbers
from darklib.readers.dialect_reading import warning
from darklib.readers.fits_blocks import Unit

LARGEST_UNPACKED = 1 << 30
"""Bytes of a tile-compressed image; a header may announce any number."""

UNSIGNED_ZERO = {8: -128, 16: 32768, 32: 2147483648}
"""BZERO by which integers of the other sign are stored (section 5.2.5, table 11)."""

_STORED: dict[int, np.dtype[Any]] = {
    bits: np.dtype(form)
    for bits, form in ((8, "u1"), (16, ">i2"), (32, ">i4"), (64, ">i8"), (-32, ">f4"), (-64, ">f8"))
}


def check_size(image: Unit, size: int) -> tuple[FrameWarning, ...]:
    """Raises Refused 'truncated' where the image ends beyond `size` bytes; a warning where only padding lacks."""
    end = image.data_end
    if end > size:
        raise Refused("truncated", f"the file has {size} bytes, but its header announces {end}")
    if image.form.compressed:
        unpacked = math.prod(image.form.axes) * abs(image.form.bitpix) // 8
        if unpacked > LARGEST_UNPACKED:
            raise Refused("unsupported", f"unpacked it would take {unpacked} bytes")
    if image.padded_end > size:
        return (warning("missing_padding", f"{image.padded_end - size} bytes"),)
    return ()


def check_end(walked: Sequence[Unit], data: memoryview) -> tuple[FrameWarning, ...]:
    """A warning where more than zeros follows the last unit: then a length in a header may be wrong.

    The standard allows special records there (section 3.5), which nobody writes any more; zeros are of old tapes.
    """
    behind = data[max(unit.padded_end for unit in walked) :]
    if not np.frombuffer(behind, np.uint8).any():
        return ()
    return (warning("bytes_behind", f"{len(behind)} bytes"),)


def check_sum(image: Unit, data: memoryview) -> tuple[FrameWarning, ...]:
    """A warning where the header's DATASUM is not the sum of the data (section 4.4.2.7).

    The sum is that of 32-bit words in ones' complement; it notices a flipped bit, not words that changed places, and
    proves nothing about where a file comes from. With CHECKSUM the whole unit, its header included, sums up to all ones
    (section 4.4.2.7 and appendix J).
    """
    card, whole = image.card("DATASUM"), image.card("CHECKSUM")
    stated = card.value.strip() if card is not None and isinstance(card.value, str) else ""
    guarded = whole is not None and isinstance(whole.value, str) and bool(whole.value.strip())
    if not stated.isdigit() and not guarded:
        return ()
    found = ones_complement_sum(data[image.data_at : min(image.padded_end, len(data))])
    if stated.isdigit() and int(stated) % 0xFFFFFFFF != found % 0xFFFFFFFF:
        return (warning("checksum_differs", f"DATASUM is {stated}, the data sum up to {found}"),)
    if guarded and (found + ones_complement_sum(data[image.header_at : image.data_at])) % 0xFFFFFFFF:
        return (warning("checksum_differs", "header and data together do not sum up to what CHECKSUM says"),)
    return ()


def ones_complement_sum(data: memoryview | bytes) -> int:
    """32-bit ones' complement sum of big-endian words; a last part of a word is filled with zeros."""
    whole = len(data) // 4 * 4
    total = int(np.frombuffer(data[:whole], ">u4").sum(dtype=np.uint64))
    if whole < len(data):
        total += int.from_bytes(bytes(data[whole:]).ljust(4, b"\0"), "big")
    while total >> 32:
        total = (total & 0xFFFFFFFF) + (total >> 32)
    return total


def check_exact(sensor: SensorArray) -> tuple[FrameWarning, ...]:
    """A warning for numbers that are not whole ones of at most 16 bits."""
    return () if sensor.data.dtype == np.uint16 else (warning("not_exact", sensor.note or "not whole numbers"),)


def pixels_of(image: Unit, facts: FrameFacts, data: memoryview, *, may_change: bool = False) -> SensorArray:
    """The image of shape (height, width) as the numbers the header means. data: of the whole file.

    may_change: the bytes may be turned into the numbers in place, which saves as much memory again. Raises Refused.
    """
    axes = image.form.axes
    planes = int(np.prod(axes[2:], dtype=np.int64)) if len(axes) > 2 else 1
    if planes == 3:
        raise Refused("demosaiced", "three colour planes: no longer sensor values; cannot be calibrated")
    if planes != 1:
        raise Refused("unsupported", f"{planes} pictures in one file; one frame a file is read")
    if image.form.compressed:
        numbers, note = _decompressed(image, data)
    else:
        numbers, note = _plain(image, data, may_change)
    numbers = numbers.reshape(axes[1], axes[0])
    if image.form.bitpix < 0 or numbers.dtype != np.uint16:
        note = note or f"{'floating-point' if image.form.bitpix < 0 else '32-bit'} data"
    exact = numbers.dtype == np.uint16
    return SensorArray(
        numbers,
        cfa=facts.cfa,
        cfa_rows=facts.cfa_rows,
        cfa_columns=facts.cfa_columns,
        black_dn=facts.black_dn,
        white_dn=facts.white_dn,
        bits=(8 if image.form.bitpix == 8 else 16) if exact else None,
        note=note,
    )


def _plain(image: Unit, data: memoryview, may_change: bool) -> tuple[SensorData, str]:
    bitpix = image.form.bitpix
    scale, zero = image.form.real("BSCALE", 1.0), image.form.real("BZERO", 0.0)
    stored: NDArray[Any] = np.frombuffer(data[image.data_at : image.data_end], _STORED[bitpix])
    stored = stored[: int(np.prod(image.form.axes, dtype=np.int64))]
    if bitpix == 16 and scale == 1.0 and zero == UNSIGNED_ZERO[16] and "BLANK" not in image.form.structure:
        return _unsigned_16(stored, may_change), ""
    if bitpix < 0:
        return _floats(stored, scale, zero), ""
    native = stored.astype(stored.dtype.newbyteorder("="))
    blank = image.form.structure.get("BLANK")
    lacking = native == blank.value if blank is not None and isinstance(blank.value, int) else None
    if scale == 1.0 and zero == int(zero) and (lacking is None or not lacking.any()):
        return whole_numbers(native.astype(np.int64) + int(zero)), ""
    scaled = native.astype(np.float64) * scale + zero
    if lacking is not None:
        scaled[lacking] = np.nan
    return scaled.astype(np.float32), "scaled data"


def _unsigned_16(stored: NDArray[Any], may_change: bool) -> NDArray[np.uint16]:
    """Unsigned numbers of the signed big-endian ones: the top bit turned, the bytes swapped."""
    swap = np.little_endian
    numbers = stored.view(np.uint16)
    if not may_change or not numbers.flags.writeable:
        numbers = numbers.byteswap() if swap else numbers.copy()
    elif swap:
        numbers.byteswap(inplace=True)
    np.bitwise_xor(numbers, np.uint16(0x8000), out=numbers)
    return numbers


def _floats(stored: NDArray[Any], scale: float, zero: float) -> SensorData:
    numbers = stored.astype(np.float32)
    if scale != 1.0 or zero != 0.0:
        numbers = numbers * np.float32(scale) + np.float32(zero)
    return numbers


def _decompressed(image: Unit, data: memoryview) -> tuple[SensorData, str]:
    """Pixels of a tile-compressed image (section 10), by astropy."""
    from astropy.io import fits

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with fits.open(io.BytesIO(data), memmap=False) as file:
                found = file[image.number].data
    except MemoryError:
        raise
    except Exception as error:  # damaged tiles end in almost any exception
        raise Refused("damaged", f"the compressed image cannot be unpacked: {error}") from error
    if found is None:
        raise Refused("no_image")
    native = np.ascontiguousarray(found.astype(found.dtype.newbyteorder("=")))
    if native.dtype.kind == "f":
        return native.astype(np.float32), ""
    return whole_numbers(native), ""
