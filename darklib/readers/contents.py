"""The bytes of a whole file in memory, hashed on the way in; gzipped ones unpacked, within limits."""

import hashlib
import zlib
from io import FileIO

from darklib.readers.answers import Refused
from darklib.readers.fits import image_unit

PIECE = 1 << 20  # 1 MB: in the processor's cache while it is hashed
LARGEST = 1 << 31
LARGEST_UNPACKED = 1 << 30
LARGEST_HEADER = 400 * 2880

_buffer = bytearray()


def hashed(handle: FileIO, size: int) -> tuple[memoryview, str]:
    """The bytes of a file of `size` bytes and their SHA-256.

    The memory is used again by the next call, for fresh memory costs as much time as reading: use the bytes up first.
    """
    global _buffer  # noqa: PLW0603 - one buffer for the life of the process is the point
    if size > LARGEST:
        return memoryview(b""), _only_hash(handle)
    if len(_buffer) < size:
        _buffer = bytearray(size)
    view = memoryview(_buffer)[:size]
    digest = hashlib.sha256()
    place = 0
    while place < size:
        count = handle.readinto(view[place : place + PIECE])
        if not count:
            break
        digest.update(view[place : place + count])
        place += count
    return view[:place], digest.hexdigest()


def _only_hash(handle: FileIO) -> str:
    digest = hashlib.sha256()
    piece = bytearray(PIECE)
    view = memoryview(piece)
    while count := handle.readinto(piece):
        digest.update(view[:count])
    return digest.hexdigest()


def is_gzipped(data: memoryview | bytes) -> bool:
    """Whether these bytes are a gzip file (RFC 1952)."""
    return bytes(data[:2]) == b"\x1f\x8b"


def unpacked(data: memoryview) -> memoryview:
    """The FITS file inside a gzip file: no more of it than its header announces, so that no small file can fill the
    memory. Raises Refused.
    """
    header = _unpacked_start(data, LARGEST_HEADER)
    image, _ = image_unit(lambda place, count: header[place : place + count], len(header))
    wanted = image.padded_end
    if wanted > LARGEST_UNPACKED:
        raise Refused("unsupported", f"unpacked it would take {wanted} bytes")
    return memoryview(_unpacked_whole(data, wanted))


def _unpacked_start(data: memoryview, most: int) -> bytes:
    """The first bytes, at most `most`; fewer where the file ends before."""
    try:
        return zlib.decompressobj(wbits=31).decompress(data, most)
    except zlib.error as error:
        raise Refused("damaged", f"the gzip file cannot be unpacked: {error}") from error


def _unpacked_whole(data: memoryview, wanted: int) -> bytes:
    """The first `wanted` bytes, and a look at the rest: a gzip file guards what is packed by a CRC-32 at its very end
    (RFC 1952, section 2.3.1), which is compared only there. What is packed behind the picture is unpacked and dropped.
    """
    packer = zlib.decompressobj(wbits=31)
    try:
        whole = packer.decompress(data, wanted)
        dropped = 0
        while not packer.eof and dropped <= LARGEST_UNPACKED:
            rest = packer.decompress(packer.unconsumed_tail, PIECE)
            if not rest and not packer.eof:
                raise Refused("truncated", "the gzip file ends before its sum")
            dropped += len(rest)
    except zlib.error as error:
        raise Refused("damaged", f"the gzip file cannot be unpacked: {error}") from error
    if dropped > LARGEST_UNPACKED:
        raise Refused("unsupported", f"behind the picture it goes on for more than {LARGEST_UNPACKED} bytes")
    return whole
