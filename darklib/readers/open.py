"""The door of this room: a path in; what the file is, says and shows out."""

import os
from dataclasses import replace
from datetime import UTC, datetime
from io import FileIO
from pathlib import Path

from darklib.facts.codes import SET_ASIDE
from darklib.facts.errors import DarklibError
from darklib.facts.frame import FrameFacts
from darklib.readers import contents, fits
from darklib.readers import sniff as sniffing
from darklib.readers.answers import Look, Pixels, Refusal, Refused, SensorArray, Sniffed
from darklib.readers.structure import AtMost

__all__ = ["Look", "Refusal", "SensorArray", "Sniffed", "look", "read_facts", "sensor_array", "sniff"]


def sniff(path: str | Path) -> Sniffed:
    """What a file is, by its content. Never raises for odd files; one that cannot be read is 'unreadable'."""
    name = os.fspath(path)
    try:
        with FileIO(name, "rb") as handle:
            return _sniffed(handle, name)
    except OSError as error:
        return Sniffed(None, True, "unreadable", _os_text(error))


def look(path: str | Path, want_pixels: bool = True) -> Look:
    """Hash, facts and measured pixels of a file. Whatever fails comes back as a refusal, never as an exception.

    May hang or crash on damaged raw files: `guard` runs it where that does no harm.
    """
    name = os.fspath(path)
    size, modified, sha256 = 0, datetime.fromtimestamp(0, UTC), ""
    try:
        with FileIO(name, "rb") as handle:
            before = os.fstat(handle.fileno())
            size, modified = before.st_size, datetime.fromtimestamp(before.st_mtime, UTC)
            found = _sniffed(handle, name)
            if found.format is None and not found.claims_image:
                return Look(name, "", size, modified, not_an_image=True)
            handle.seek(0)
            data, sha256 = contents.hashed(handle, size)
            facts, pixels = _judged(found, name, data, size, want_pixels)
            after = os.fstat(handle.fileno())
        if after.st_size != before.st_size or after.st_mtime_ns != before.st_mtime_ns:
            raise Refused("changed_while_read")
    except Refused as refused:
        return Look(name, sha256, size, modified, refused.facts, None, refused.refusal)
    except OSError as error:
        return Look(name, sha256, size, modified, None, None, Refusal("unreadable", _os_text(error)))
    except MemoryError:
        raise
    except Exception as error:  # noqa: BLE001 - whatever a damaged file makes a library do: the rest of the card goes on
        return Look(name, sha256, size, modified, None, None, Refusal("damaged", f"{SET_ASIDE['damaged']}: {error!r}"))
    if pixels is None:
        return Look(name, sha256, size, modified, facts)
    return Look(name, sha256, size, modified, facts, pixels.facts, hot=pixels.hot)


def read_facts(path: str | Path) -> FrameFacts:
    """What the file says, its pixels untouched; of a FITS file only the headers are read. Raises DarklibError."""
    name = os.fspath(path)
    try:
        with FileIO(name, "rb") as handle:
            size = os.fstat(handle.fileno()).st_size
            start = handle.read(9)
            if start == b"SIMPLE  =":
                return fits.facts_of(*fits.image_unit(_reader(handle), size))
            found = _sniffed(handle, name)
            if found.format is None:
                raise Refused(found.code or "no_image", found.text)
            handle.seek(0)
            data = memoryview(handle.readall())
        if found.format == "fits":
            data = contents.unpacked(data) if contents.is_gzipped(data) else data
            return fits.facts_of(*fits.image_unit(_slicer(data), len(data)))
        from darklib.readers import raws

        return raws.facts_of(raws.opened(found.format, data), data)
    except Refused as refused:
        raise refused.as_error(name) from refused
    except OSError as error:
        raise DarklibError("unreadable", _os_text(error), path=name) from error


def sensor_array(path: str | Path) -> SensorArray:
    """The sensor's numbers, of raw files with their masked borders. Raises DarklibError."""
    name = os.fspath(path)
    try:
        with FileIO(name, "rb") as handle:
            found = _sniffed(handle, name)
            if found.format is None:
                raise Refused(found.code or "no_image", found.text)
            handle.seek(0)
            data = memoryview(handle.readall())
        if found.format == "fits":
            from darklib.readers import fits_pixels

            data = contents.unpacked(data) if contents.is_gzipped(data) else data
            image, walked = fits.image_unit(_slicer(data), len(data))
            fits_pixels.check_size(image, len(data))
            return fits_pixels.pixels_of(image, fits.facts_of(image, walked), data)
        from darklib.readers import libraw, raws

        file = raws.opened(found.format, data)
        facts = raws.facts_of(file, data)
        raws.check_structure(file, facts, data)
        return libraw.decode(name, facts).sensor
    except Refused as refused:
        raise refused.as_error(name) from refused
    except OSError as error:
        raise DarklibError("unreadable", _os_text(error), path=name) from error


def _judged(
    found: Sniffed, name: str, data: memoryview, size: int, want_pixels: bool
) -> tuple[FrameFacts, Pixels | None]:
    """Facts and figures of a file that passes for an image. Raises Refused."""
    if size > contents.LARGEST:
        raise Refused("unsupported", "larger than 2 GB")
    if len(data) != size:
        raise Refused("changed_while_read")
    if found.code is not None or found.format is None:
        raise Refused(found.code or "no_image", found.text)
    if found.format == "fits":
        return _of_fits(data, want_pixels)
    return _of_raw(found.format, name, data, want_pixels)


def _of_fits(data: memoryview, want_pixels: bool) -> tuple[FrameFacts, Pixels | None]:
    from darklib.readers import fits_pixels

    own = not contents.is_gzipped(data)
    data = data if own else contents.unpacked(data)
    image, walked = fits.image_unit(_slicer(data), len(data))
    facts = fits.facts_of(image, walked)
    try:
        facts = fits.with_warning(facts, *fits_pixels.check_size(image, len(data)))
        if not want_pixels:
            return facts, None
        facts = fits.with_warning(facts, *fits_pixels.check_sum(image, data), *fits_pixels.check_end(walked, data))
        sensor = fits_pixels.pixels_of(image, facts, data, may_change=own)
        facts = fits.with_warning(facts, *fits_pixels.check_exact(sensor))
        return facts, _measured(sensor, facts.exposure_s)
    except Refused as refused:
        refused.facts = facts
        raise


def _of_raw(format_: str, name: str, data: memoryview, want_pixels: bool) -> tuple[FrameFacts, Pixels | None]:
    from darklib.readers import libraw, raws

    file = raws.opened(format_, data)
    facts = raws.facts_of(file, data)
    raws.check_structure(file, facts, data)
    if not want_pixels:
        return facts, None
    with libraw.decoded(name, facts) as decoded:
        sensor = decoded.sensor
        facts = raws.with_sensor(facts, sensor, decoded.picture)
        top, left, height, width = decoded.picture
        cfa = sensor.cfa
        if cfa is not None and sensor.cfa_rows and sensor.cfa_columns:
            cfa = libraw.shifted(cfa, sensor.cfa_rows, sensor.cfa_columns, top, left)
        # Masked borders see no light: they would make a flat look half dark.
        picture = sensor.data[top : top + height, left : left + width]
        try:
            seen = replace(sensor, data=picture, cfa=cfa, black_dn=facts.black_dn, white_dn=facts.white_dn)
            return facts, _measured(seen, facts.exposure_s)
        except Refused as refused:
            refused.facts = facts
            raise


def _measured(sensor: SensorArray, exposure_s: float | None) -> Pixels:
    from darklib.pixels.hot import LEAST_EXPOSURE_S, encoded, hot_pixels
    from darklib.pixels.measure import measured
    from darklib.readers.blank import check_not_blank

    check_not_blank(sensor.data)
    facts, points = measured(
        sensor.data,
        cfa=sensor.cfa,
        cfa_rows=sensor.cfa_rows,
        cfa_columns=sensor.cfa_columns,
        black_dn=sensor.black_dn,
        white_dn=sensor.white_dn,
        bits=sensor.bits,
    )
    if exposure_s is not None and exposure_s < LEAST_EXPOSURE_S:
        return Pixels(facts, None)
    hot = hot_pixels(
        sensor.data,
        cfa=sensor.cfa,
        cfa_rows=sensor.cfa_rows,
        cfa_columns=sensor.cfa_columns,
        white_dn=sensor.white_dn,
        dn_step=facts.dn_step,
        points=points,
    )
    return Pixels(facts, None if hot is None else encoded(hot))


def _sniffed(handle: FileIO, name: str) -> Sniffed:
    return sniffing.sniffed(_reader(handle), name, os.fstat(handle.fileno()).st_size)


def _reader(handle: FileIO) -> AtMost:
    def at_most(place: int, count: int) -> bytes:
        handle.seek(place)
        return handle.read(count) or b""

    return at_most


def _slicer(data: memoryview) -> AtMost:
    return lambda place, count: bytes(data[place : place + count])


def _os_text(error: OSError) -> str:
    return f"{SET_ASIDE['unreadable']}: {error.strerror or error}"
