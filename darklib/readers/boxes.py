"""Raw files that are not TIFF outside but hold TIFF or JPEG inside: CR3, RAF and MRW.

CR3 is an ISO base media file (ISO/IEC 14496-12): boxes of size and name. Three of them are small TIFF files of the
camera's tags. RAF has a table of offsets and a JPEG with the tags. MRW has blocks, one of them a TIFF file.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass

from darklib.readers.answers import Refused

CAMERA_TAGS = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
"""Name of the box of a CR3 in which the tags are."""

MOST_BOXES = 500


@dataclass(frozen=True, slots=True)
class Part:
    """A piece of a file: `group` is what its tags are called by (Image, EXIF, MakerNote), at and end its bytes."""

    group: str
    at: int
    end: int


@dataclass(frozen=True, slots=True)
class Contents:
    """What a container holds. tags: pieces with tags; picture_at, picture_end: the sensor's data, None where not found.

    width, height: of the sensor's data where the container tells.
    """

    tags: tuple[Part, ...]
    picture_at: int | None
    picture_end: int | None
    width: int | None = None
    height: int | None = None


def boxes(data: memoryview, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Name, first byte of content and end of each box; a `uuid` box is named by its 16 bytes. An end may lie beyond the
    file where that is cut.
    """
    for _ in range(MOST_BOXES):
        if start + 8 > min(end, len(data)):
            return
        size, name = struct.unpack(">I4s", data[start : start + 8])
        content = start + 8
        if size == 1 and start + 16 <= len(data):
            size, content = struct.unpack(">Q", data[start + 8 : start + 16])[0], start + 16
        if size == 0:
            size = end - start
        if size < content - start:
            return
        if name == b"uuid" and content + 16 <= len(data):
            name, content = bytes(data[content : content + 16]), content + 16
        yield name, content, start + size
        start += size


def cr3(data: memoryview) -> Contents:
    """The parts of a CR3. Raises Refused 'truncated' where a box ends beyond the file."""
    tags: list[Part] = []
    picture: tuple[int, int] | None = None
    for name, content, end in boxes(data, 0, len(data)):
        if name == b"mdat":
            picture = content, end
        elif name == b"moov":
            for inner, inner_content, inner_end in boxes(data, content, min(end, len(data))):
                if inner == CAMERA_TAGS:
                    tags += _tag_boxes(data, inner_content, min(inner_end, len(data)))
    return Contents(tuple(tags), *(picture or (None, None)))


def _tag_boxes(data: memoryview, start: int, end: int) -> Iterator[Part]:
    groups = {b"CMT1": "Image", b"CMT2": "EXIF", b"CMT3": "MakerNote", b"CMT4": "GPS"}
    for name, content, box_end in boxes(data, start, end):
        if name in groups and box_end <= end:
            yield Part(groups[name], content, box_end)


def raf(data: memoryview) -> Contents:
    """The parts of a RAF: offsets and lengths, big-endian, from byte 84. Raises Refused."""
    if len(data) < 108:
        raise Refused("truncated", f"the file ends inside its header, after {len(data)} bytes")
    jpeg_at, jpeg_size, _, _, picture_at, picture_size = struct.unpack(">6I", data[84:108])
    tags = (Part("", jpeg_at, jpeg_at + jpeg_size),) if jpeg_at + jpeg_size <= len(data) else ()
    width, height = _raf_size(data)
    return Contents(tags, picture_at or None, picture_at + picture_size if picture_at else None, width, height)


def _raf_size(data: memoryview) -> tuple[int | None, int | None]:
    """Width and height from the directory at byte 92: tag 0x100 is the sensor's whole size, height first."""
    at, size = struct.unpack(">2I", data[92:100])
    if at + 4 > len(data):
        return None, None
    count = min(struct.unpack(">I", data[at : at + 4])[0], 255)
    place = at + 4
    for _ in range(count):
        if place + 4 > min(at + size, len(data)):
            break
        tag, width = struct.unpack(">2H", data[place : place + 4])
        if tag == 0x100 and width == 4 and place + 8 <= len(data):
            height_, width_ = struct.unpack(">2H", data[place + 4 : place + 8])
            return width_, height_
        place += 4 + width
    return None, None


def mrw(data: memoryview) -> Contents:
    """The parts of an MRW: blocks of name and length, big-endian; the picture follows them. Raises Refused."""
    end = 8 + struct.unpack(">I", data[4:8])[0]
    if end > len(data):
        raise Refused("truncated", f"the file has {len(data)} bytes, but its header alone announces {end}")
    tags: list[Part] = []
    width = height = None
    bits = 16
    place = 8
    while place + 8 <= end:
        name, size = struct.unpack(">4sI", data[place : place + 8])
        content = place + 8
        if name == b"\0TTW":
            tags.append(Part("", content, min(content + size, end)))
        elif name == b"\0PRD" and content + 18 <= end:
            # version 8 letters; sensor height, width; picture height, width; bits stored; bits used
            height, width = struct.unpack(">2H", data[content + 8 : content + 12])
            bits = data[content + 16] or bits
        place = content + size
    picture_end = end + width * height * bits // 8 if width and height else None
    return Contents(tuple(tags), end, picture_end, width, height)
