"""What reading a file ends in: what it is, what it says, what its pixels say, or why it could not be taken."""

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, TypeAlias

from darklib.facts.codes import SET_ASIDE
from darklib.facts.errors import DarklibError
from darklib.facts.frame import FrameFacts, PixelFacts

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    SensorData: TypeAlias = NDArray[np.uint16] | NDArray[np.int32] | NDArray[np.float32]
else:
    SensorData = Any  # the process that has its workers look needs no numpy of its own


@dataclass(frozen=True, slots=True)
class Sniffed:
    """What the first bytes of a file tell.

    format: a word of `FrameFacts.format` where it is one that can be read, else None. claims_image: by content or by
    name it passes for an image, so that somebody should hear why it was not taken. code: of `facts/codes.SET_ASIDE`
    where it can be refused at once. text: the sentence for it.
    """

    format: str | None
    claims_image: bool
    code: str | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a file could not be taken: code of `facts/codes.SET_ASIDE` and one sentence."""

    code: str
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class Bands:
    """Bands of whole rows spread evenly over the picture of a sensor, masked borders left out.

    data: uint16, (rows, width), the bands one below the other, each `rows_of_band` high; tops: the row of the picture
    at which each begins. height: of the whole picture. cfa: letters row by row as seen from data[0, 0]; bands begin
    where the pattern does, so it holds for all of them.
    """

    data: "NDArray[np.uint16]"
    rows_of_band: int
    tops: tuple[int, ...]
    height: int
    cfa: str | None = None
    cfa_rows: int | None = None
    cfa_columns: int | None = None


@dataclass(frozen=True, slots=True)
class Look:
    """One file looked at. sha256 is empty for a file that is no image or could not be read to its end.

    size in bytes; modified: its time stamp, UTC. facts may be given beside a refusal: the header was readable then.
    bands: only where they were asked for, see `bands`. hot: the hot pixels, as `pixels/hot.encoded` writes them; None
    where the frame is too small to have any.
    """

    path: str
    sha256: str
    size: int
    modified: datetime
    facts: FrameFacts | None = None
    pixels: PixelFacts | None = None
    refusal: Refusal | None = None
    not_an_image: bool = False
    bands: Bands | None = None
    hot: bytes | None = None


@dataclass(frozen=True, slots=True)
class Pixels:
    """What the pixels of one frame say: its figures, and its hot pixels as bytes."""

    facts: PixelFacts
    hot: bytes | None


@dataclass(frozen=True, slots=True, eq=False)
class SensorArray:
    """The sensor's numbers: `data` of shape (height, width), native byte order, masked borders included.

    uint16 wherever the numbers are whole and fit, else int32 or float32. cfa: letters row by row from data[0, 0], of
    cfa_rows x cfa_columns; None for mono. black_dn, white_dn: as the file or its decoder tells; None where untold.
    bits: of one stored number, None for floating-point and 32-bit data. note: what was odd about the data, or empty.
    """

    data: SensorData
    cfa: str | None = None
    cfa_rows: int | None = None
    cfa_columns: int | None = None
    black_dn: float | None = None
    white_dn: float | None = None
    bits: int | None = None
    note: str = ""


class Refused(Exception):
    """Inside this room: reading stops here, with a code of SET_ASIDE. Never leaves it; see `open`.

    facts: what had been read by then.
    """

    def __init__(self, code: str, text: str = "", facts: FrameFacts | None = None) -> None:
        super().__init__(text or SET_ASIDE[code])
        self.refusal = Refusal(code, text or SET_ASIDE[code])
        self.facts = facts

    def as_error(self, path: str) -> DarklibError:
        """The same as an error for the user."""
        return DarklibError(self.refusal.code, self.refusal.text, path=path)


def whole_numbers(data: "NDArray[Any]") -> SensorData:
    """Integers as uint16 where every value fits, else as int32 or, beyond that, float32."""
    import numpy as np

    if data.dtype == np.uint16 and data.dtype.isnative:
        return data
    low, high = (int(data.min()), int(data.max())) if data.size else (0, 0)
    if low >= 0 and high <= 65535:
        return data.astype(np.uint16)
    if low >= -(2**31) and high < 2**31:
        return data.astype(np.int32)
    return data.astype(np.float32)
