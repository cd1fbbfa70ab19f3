"""The sensor's numbers of a camera's raw file, by LibRaw."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

from darklib.facts.frame import FrameFacts
from darklib.readers.answers import Refused, SensorArray, whole_numbers


@dataclass(frozen=True, slots=True)
class Decoded:
    """sensor: the whole array, borders included. picture: top, left, height, width of the part that sees light."""

    sensor: SensorArray
    picture: tuple[int, int, int, int]


def decode(path: str, facts: FrameFacts) -> Decoded:
    """As `decoded`, the array being a copy of its own. Raises Refused."""
    with decoded(path, facts) as found:
        return replace(found, sensor=replace(found.sensor, data=found.sensor.data.copy()))


@contextmanager
def decoded(path: str, facts: FrameFacts) -> Iterator[Decoded]:
    """The file's sensor data, unpacked. The array lies in the decoder's memory and is gone afterwards. Raises Refused.

    LibRaw says little about damage: one error for a missing end and for a missing file, none at all for zeros where
    pixels should be; so the structure is checked before and the pixels after.
    """
    import rawpy

    try:
        with rawpy.imread(path) as raw:
            yield _seen(raw, facts)
    except rawpy.LibRawFileUnsupportedError as error:
        raise Refused("unsupported", "a form of raw file that the decoder does not know", facts) from error
    except rawpy.LibRawIOError as error:
        raise Refused("truncated", "the file ends before its sensor data do", facts) from error
    except rawpy.LibRawError as error:
        raise Refused("damaged", "the sensor data cannot be unpacked", facts) from error


def _seen(raw: Any, facts: FrameFacts) -> Decoded:
    data = raw.raw_image  # unpacks
    if data is None or data.ndim != 2:
        raise Refused("demosaiced", facts=facts)
    white = float(raw.white_level) if raw.white_level else None
    black = [float(level) for level in raw.black_level_per_channel]
    sizes = raw.sizes
    letters, rows, columns = _pattern(raw)
    top, left = int(sizes.top_margin), int(sizes.left_margin)
    # Sizes are not trusted beyond the array: for some files they speak of the finished picture.
    height = min(int(sizes.height), data.shape[0] - top)
    width = min(int(sizes.width), data.shape[1] - left)
    if height < 16 or width < 16 or height * width * 2 < data.size:
        top, left, (height, width) = 0, 0, data.shape
    sensor = SensorArray(
        whole_numbers(data),
        cfa=letters,
        cfa_rows=rows,
        cfa_columns=columns,
        black_dn=sum(black) / len(black) if black else None,
        white_dn=white,
        bits=facts.bits or (int(white).bit_length() if white else None),
    )
    return Decoded(sensor, (top, left, height, width))


def _pattern(raw: Any) -> tuple[str | None, int | None, int | None]:
    """Letters of the mosaic from the first pixel of the whole array on, and its rows and columns; None for mono."""
    pattern, names = raw.raw_pattern, raw.color_desc.decode("ascii", "replace")
    if pattern is None or raw.num_colors == 1 or int(pattern.max()) >= len(names):
        return None, None, None
    letters = "".join(names[int(number)] for number in pattern.ravel())
    if len(set(letters)) == 1:
        return None, None, None
    rows, columns = pattern.shape
    return letters, int(rows), int(columns)


def shifted(letters: str, rows: int, columns: int, top: int, left: int) -> str:
    """The mosaic's letters as seen from the pixel at row `top` and column `left`."""
    return "".join(
        letters[(row + top) % rows * columns + (column + left) % columns]
        for row in range(rows)
        for column in range(columns)
    )
