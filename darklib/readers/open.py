"""The door of this room: a path in, what the file is and says out."""

import hashlib
import os
from datetime import UTC, datetime
from pathlib import Path

from darklib.facts.codes import SET_ASIDE
from darklib.facts.errors import DarklibError
from darklib.facts.frame import FrameFacts, PixelFacts
from darklib.readers.answers import Look, Refusal, Refused, SensorArray, Sniffed
from darklib.readers.fits import facts_of, image_unit, with_warning
from darklib.readers.sniff import sniff_bytes

HEAD = 65536
PIECE = 1 << 20
LARGEST = 1 << 31

__all__ = ["Look", "Refusal", "SensorArray", "Sniffed", "look", "read_facts", "sensor_array", "sniff"]

_buffer = bytearray()


def sniff(path: str | Path) -> Sniffed:
    """What a file is, by its first bytes. Never raises for odd files; one that cannot be read is 'unreadable'."""
    name = os.fspath(path)
    try:
        with open(name, "rb", buffering=0) as handle:
            return sniff_bytes(handle.read(HEAD), name, os.fstat(handle.fileno()).st_size)
    except OSError as error:
        return Sniffed(None, True, "unreadable", _os_text(error))


def look(path: str | Path, want_pixels: bool = True) -> Look:
    """Hash, facts and measured pixels of a file; whatever fails comes back as a refusal."""
    name = os.fspath(path)
    size, modified, sha256 = 0, datetime.fromtimestamp(0, UTC), ""
    facts: FrameFacts | None = None
    try:
        with open(name, "rb", buffering=0) as handle:
            before = os.fstat(handle.fileno())
            size, modified = before.st_size, datetime.fromtimestamp(before.st_mtime, UTC)
            head = handle.read(HEAD)
            found = sniff_bytes(head, name, size)
            if found.format is None and not found.claims_image:
                return Look(name, "", size, modified, not_an_image=True)
            handle.seek(0)
            data, sha256 = _whole(handle, size)
            after = os.fstat(handle.fileno())
        if len(data) != size or after.st_size != size or after.st_mtime_ns != before.st_mtime_ns:
            raise Refused("changed_while_read")
        if found.code is not None:
            raise Refused(found.code, found.text)
        facts, pixels = _fits(data, want_pixels)
    except Refused as refused:
        return Look(name, sha256, size, modified, refused.facts or facts, None, refused.refusal)
    except OSError as error:
        return Look(name, sha256, size, modified, facts, None, Refusal("unreadable", _os_text(error)))
    return Look(name, sha256, size, modified, facts, pixels)


def _whole(handle: "os.PathLike[str] | object", size: int) -> tuple[memoryview, str]:
    """The whole file and its SHA-256; the memory is used again for the next file."""
    global _buffer  # noqa: PLW0603 - fresh memory for each file costs as much time as reading it
    if size > LARGEST:
        raise Refused("unsupported", "larger than 2 GB")
    if len(_buffer) < size:
        _buffer = bytearray(size)
    view = memoryview(_buffer)[:size]
    digest = hashlib.sha256()
    place = 0
    while place < size:
        count = handle.readinto(view[place : place + PIECE])  # type: ignore[attr-defined]
        if not count:
            break
        digest.update(view[place : place + count])
        place += count
    return view[:place], digest.hexdigest()


def _fits(data: memoryview, want_pixels: bool) -> tuple[FrameFacts, PixelFacts | None]:
    from darklib.readers.fits_pixels import check_size, check_sum, pixels_of

    image, walked = image_unit(lambda place, count: bytes(data[place : place + count]), len(data))
    facts = facts_of(image, walked)
    try:
        facts = with_warning(facts, *check_size(image, len(data)))
        if not want_pixels:
            return facts, None
        facts = with_warning(facts, *check_sum(image, data))
        sensor = pixels_of(image, facts, data, may_change=True)
        return facts, _measured(sensor)
    except Refused as refused:
        refused.facts = facts
        raise


def _measured(sensor: SensorArray) -> PixelFacts:
    from darklib.pixels.measure import measure

    return measure(
        sensor.data,
        cfa=sensor.cfa,
        cfa_rows=sensor.cfa_rows,
        cfa_columns=sensor.cfa_columns,
        black_dn=sensor.black_dn,
        white_dn=sensor.white_dn,
        bits=sensor.bits,
    )


def read_facts(path: str | Path) -> FrameFacts:
    """What the file says, without its pixels. Raises DarklibError."""
    name = os.fspath(path)
    try:
        with open(name, "rb", buffering=0) as handle:
            size = os.fstat(handle.fileno()).st_size

            def at_most(place: int, count: int) -> bytes:
                handle.seek(place)
                return handle.read(count) or b""

            image, walked = image_unit(at_most, size)
            return facts_of(image, walked)
    except Refused as refused:
        raise refused.as_error(name) from refused
    except OSError as error:
        raise DarklibError("unreadable", _os_text(error), path=name) from error


def sensor_array(path: str | Path) -> SensorArray:
    """The sensor's numbers. Raises DarklibError."""
    from darklib.readers.fits_pixels import check_size, pixels_of

    name = os.fspath(path)
    try:
        data = memoryview(Path(name).read_bytes())
        image, walked = image_unit(lambda place, count: bytes(data[place : place + count]), len(data))
        check_size(image, len(data))
        return pixels_of(image, facts_of(image, walked), data)
    except Refused as refused:
        raise refused.as_error(name) from refused
    except OSError as error:
        raise DarklibError("unreadable", _os_text(error), path=name) from error


def _os_text(error: OSError) -> str:
    return f"{SET_ASIDE['unreadable']}: {error.strerror or error}"
