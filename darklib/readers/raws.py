"""What a camera's raw file says of its frame, and whether its structure is whole."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from darklib.facts.frame import Fact, FrameFacts, FrameWarning, Ignored
from darklib.facts.train import TrainFacts
from darklib.readers import boxes, tag_forms
from darklib.readers import structure as tiff
from darklib.readers.answers import Refused, SensorArray
from darklib.readers.dialect_reading import warning
from darklib.readers.dialect_rules import Told
from darklib.readers.exif import Tags, read_tags
from darklib.readers.raw_form import PICTURE_FORMS, form_of
from darklib.readers.raw_rows import ONLY_IN, ROWS, SEEN_NOT_USED
from darklib.readers.structure import Skeleton, skeleton
from darklib.readers.units_written import NotKnown, NotUnderstood

LEAST_BITS = 0.5
"""Bits a pixel to which no lossless coder packs a real frame: read noise alone needs more than one (rule of thumb)."""

ISO_LIMIT = 65535

DIAL_STEP = 1.3
"""A nominal exposure and the true one differ by less: 30 s is 32 s, and the steps of a dial are a factor of 1.26."""


@dataclass(frozen=True, slots=True)
class Opened:
    """A raw file's skeleton or contents, before its tags are read."""

    format: str
    skeleton: Skeleton | None
    contents: boxes.Contents | None


def opened(format_: str, data: memoryview) -> Opened:
    """The structure of a raw file. Raises Refused where it cannot be followed at all."""
    if format_ in ("cr3", "raf", "mrw"):
        return Opened(format_, None, {"cr3": boxes.cr3, "raf": boxes.raf, "mrw": boxes.mrw}[format_](data))
    found = skeleton(lambda at, count: bytes(data[at : at + count]), len(data))
    if found.main is None or not found.main.values:
        raise Refused("damaged", "its table of contents cannot be read")
    return Opened(format_, found, None)


def facts_of(file: Opened, data: memoryview) -> FrameFacts:
    """The frame's facts, from tags alone: no pixel is touched, so it works for a file cut short."""
    tags = read_tags(data, file.contents.tags if file.contents else ())
    tags = {" ".join(name.split()): tag for name, tag in tags.items()}
    no_air = _air_not_known(file.skeleton) and tags.pop("EXIF Tag 0x9400", None)
    told = _Told(file.format, tags)
    if no_air:
        told.ignored.append(Ignored("EXIF Tag 0x9400", str(no_air), "a denominator that stands for 'not known'"))
    get = told.values.get
    iso = _iso(told)
    taken_at, time_origin = _moment(told)
    focal = get("focal_length_mm")
    if focal is not None and "f_number" not in told.values and get("telescope") is None:
        # Bodies that hear nothing from the lens, such as one on a telescope, may still write a number here.
        told.ignored.append(Ignored(told.where["focal_length_mm"], f"{focal:g}", "no lens that speaks"))
        focal = None
    picture = file.skeleton.picture if file.skeleton else None
    no_make = [warning("header_odd", "the camera's make cannot be read")]
    told.warnings += _odd(file, picture) if get("make") else no_make
    bits, compression, demosaiced = form_of(file.format, picture, data, str(get("compression_word", "")))
    if compression == "lossy":
        told.warnings.append(warning("lossy", "it serves as a light, never as a dark, flat or bias"))
    _compare(told)
    subtracted = get("in_camera_subtraction")
    if subtracted:
        told.warnings.append(warning("in_camera_subtraction", "long-exposure noise reduction was on"))
    return FrameFacts(
        format=file.format,
        make=get("make"),
        model=get("model"),
        serial=get("serial"),
        exposure_s=get("exposure_s"),
        iso=iso,
        width=picture.whole(tiff.WIDTH) if picture else file.contents.width if file.contents else None,
        height=picture.whole(tiff.HEIGHT) if picture else file.contents.height if file.contents else None,
        bits=bits,
        sensor_temperature_c=get("sensor_temperature_c"),
        temperature_origin="makernote" if "sensor_temperature_c" in told.values else None,
        ambient_temperature_c=get("ambient_temperature_c"),
        train=TrainFacts(get("telescope"), focal, stop=_stop(told, focal)),
        taken_at=taken_at,
        time_origin=time_origin,
        latitude_deg=_site(told, "latitude", "S", 90.0),
        longitude_deg=_site(told, "longitude", "W", 180.0),
        in_camera_subtraction=subtracted,
        compression=compression,
        demosaiced=demosaiced,
        facts=tuple(told.facts),
        ignored=tuple(told.ignored),
        warnings=tuple(told.warnings),
    )


def _odd(file: Opened, picture: tiff.Directory | None) -> list[FrameWarning]:
    """A warning where what says how the picture is stored is not in order: a decoder makes something of anything."""
    if file.contents is not None:
        if file.format == "raf" and file.contents.width is None:
            return [warning("header_odd", "no size of the sensor in its table")]
        return []
    strange = sorted({tag for one in file.skeleton.directories for tag in one.odd}) if file.skeleton else []
    if strange:
        return [warning("header_odd", f"{len(strange)} tags in a form that is not theirs, as {strange[0]}")]
    name = str(file.skeleton.main.values.get(tiff.UNIQUE_MODEL, "")) if file.skeleton and file.skeleton.main else ""
    if not name.isprintable() or "\ufffd" in name:
        return [warning("header_odd", "the camera's name is no text")]
    if picture is not None and not picture.counts_agree:
        return [warning("header_odd", "numbers of strips, tiles or levels that do not agree")]
    bits = picture.wholes(tiff.BITS) if picture is not None else ()
    if bits and not 1 <= bits[0] <= 32:
        return [warning("header_odd", f"{bits[0]} bits a pixel")]
    return _pattern_odd(file.format, picture)


def _pattern_odd(format_: str, picture: tiff.Directory | None) -> list[FrameWarning]:
    """A warning where a mosaic's pattern is not as DNG 1.4 and TIFF/EP write it: two sides, then colours 0 to 6."""
    if picture is None or not picture.is_mosaic:
        return []
    sides, colours = picture.wholes(tiff.CFA_PATTERN_DIM), picture.wholes(tiff.CFA_PATTERN)
    if not sides and not colours and format_ != "dng":
        return []
    if len(sides) == 2 and len(colours) == sides[0] * sides[1] > 0 and max(colours) <= 6 and min(colours) >= 0:
        return []
    return [warning("header_odd", f"a colour pattern of {sides} with {colours[:6]}")]


def _air_not_known(found: Skeleton | None) -> bool:
    """Whether the ambient temperature's denominator is all ones, 'not known': as a fraction it would be a number."""
    pairs = [one.wholes(tiff.AMBIENT) for one in found.directories] if found else []
    return any(len(pair) == 2 and pair[1] in (0, -1) for pair in pairs)


class _Told:
    """What the tags tell, by field, with everything kept that was not used."""

    def __init__(self, format_: str, tags: Tags) -> None:
        self.values: dict[str, Any] = {}
        self.where: dict[str, str] = {}
        self.facts: list[Fact] = []
        self.ignored: list[Ignored] = []
        self.warnings: list[FrameWarning] = []
        for row in ROWS:
            tag = tags.get(row.tag)
            if tag is None or ONLY_IN.get(row.tag, format_) != format_:
                continue
            raw = str(tag).strip()[:80]
            try:
                odd = tag_forms.check(row.tag, tag)
                told = row.rule(tag, row.field)
            except NotKnown as unknown:
                self.ignored.append(Ignored(row.tag, raw, str(unknown)))
                if unknown.sentinel:
                    self.warnings.append(warning("sentinel_dropped", f"{row.tag} = {raw}: {unknown}"))
                continue
            except NotUnderstood as reason:
                self.ignored.append(Ignored(row.tag, raw, str(reason)))
                self.warnings.append(warning("value_not_understood", f"{row.tag} = {raw}: {reason}"))
                continue
            except Exception as error:  # noqa: BLE001 - a parser's tag object may hold anything
                self.ignored.append(Ignored(row.tag, raw, f"cannot be read: {error}"))
                self.warnings.append(warning("value_not_understood", f"{row.tag} = {raw}: {error}"))
                continue
            if odd and not told.warning:
                told = replace(told, note=told.note or odd, warning="value_odd")
            self._take(told, row.tag, raw)
        for name, why in SEEN_NOT_USED.items():
            if name in tags:
                self.ignored.append(Ignored(name, str(tags[name]).strip()[:80], why))

    def _take(self, told: Told, tag: str, raw: str) -> None:
        origin = "makernote" if tag.startswith("MakerNote") else "exif"
        self.facts.append(Fact(told.field, told.value, told.unit, origin, tag, raw, told.note))
        if told.field not in self.values:
            self.values[told.field], self.where[told.field] = told.value, tag
            if told.warning:
                self.warnings.append(warning(told.warning, f"{tag} = {raw}: {told.note}"))


_LONG_ISO = {
    1: ("iso_standard_output",),
    2: ("iso_recommended",),
    3: ("iso_speed",),
    4: ("iso_recommended", "iso_standard_output"),
    5: ("iso_speed", "iso_standard_output"),
    6: ("iso_speed", "iso_recommended"),
    7: ("iso_speed", "iso_recommended", "iso_standard_output"),
}
"""Where the true number is when the 16-bit ISO is full, by SensitivityType (Exif 2.3, annex G)."""


def _stop(told: _Told, focal: float | None) -> float | None:
    """The stop a lens was set to, where one speaks: vignetting changes with it."""
    stop: float | None = told.values.get("f_number")
    return stop if focal is not None or told.values.get("telescope") is not None else None


def _site(told: _Told, name: str, negative: str, most: float) -> float | None:
    """Latitude or longitude, south and west negative; unknown without the side."""
    value, side = told.values.get(f"{name}_deg"), told.values.get(f"{name}_side")
    if not isinstance(value, float) or side is None or value > most:
        return None
    return -value if side == negative else value


def _compare(told: _Told) -> None:
    """Flags ISO numbers that differ, and exposure times that do by more than the steps of a shutter's dial."""
    isos = {fact.where: fact.value for fact in told.facts if fact.name == "iso"}
    if len(set(isos.values())) > 1:
        said = ", ".join(f"{where} = {value}" for where, value in isos.items())
        told.warnings.append(warning("values_disagree", said))
    seconds = {fact.where: fact.value for fact in told.facts if fact.name == "exposure_s"}
    if seconds.get("EXIF ShutterSpeedValue") == 1.0:
        del seconds["EXIF ShutterSpeedValue"]  # a value of 0 is what bulb exposures carry
    values = [value for value in seconds.values() if isinstance(value, float)]
    if values and max(values) > DIAL_STEP * min(values):
        said = ", ".join(f"{where} = {value:g} s" for where, value in seconds.items())
        told.warnings.append(warning("exposures_disagree", said, least_s=min(values), most_s=max(values)))


def _iso(told: _Told) -> int | None:
    iso: int | None = told.values.get("iso")
    if iso is None:
        # Without the 16-bit number the long ones are still what they are.
        long = (told.values.get(field) for field in ("iso_recommended", "iso_speed", "iso_standard_output"))
        return next((int(value) for value in long if value), None)
    if iso < ISO_LIMIT:
        return iso
    for field in _LONG_ISO.get(told.values.get("sensitivity_type", 0), ()):
        if told.values.get(field):
            return int(told.values[field])
    told.warnings.append(warning("iso_at_least", f"at least {ISO_LIMIT}", iso=float(ISO_LIMIT)))
    return iso


def _moment(told: _Told) -> tuple[datetime | None, str | None]:
    """The camera's clock at the exposure: aware where it wrote its offset from UTC, else naive."""
    text = told.values.get("stamp")
    if text is None:
        return None, None
    found = datetime.fromisoformat(text)
    fraction = told.values.get("stamp_fraction")
    if fraction is not None and told.where["stamp"].endswith("Original"):
        found += timedelta(microseconds=round(float(f"0.{fraction}") * 1e6))
    zone = told.values.get("stamp_offset")
    if zone is not None:
        found = datetime.fromisoformat(found.isoformat() + zone).astimezone(UTC)
    return found, told.where["stamp"]


def check_structure(file: Opened, facts: FrameFacts, data: memoryview) -> None:
    """Raises Refused where the sensor's data are not all there, or are no sensor's data any more."""
    picture = file.skeleton.picture if file.skeleton else None
    if facts.demosaiced:
        raise Refused("demosaiced", facts=facts)
    if picture is not None and facts.compression == "lossy" and picture.whole(tiff.COMPRESSION) in PICTURE_FORMS:
        raise Refused("lossy", facts=facts)
    if picture is not None and picture.whole(tiff.COMPRESSION) == 52546:
        raise Refused("unsupported", "compressed as JPEG XL, which is not read yet", facts=facts)
    if picture is not None and 3 in picture.wholes(tiff.SAMPLE_FORMAT):
        raise Refused("unsupported", "floating-point raw data, which are not read yet", facts=facts)
    size = len(data)
    end = _data_end(file)
    if end is None:
        raise Refused("truncated", "the file ends before all that it announces", facts=facts)
    if end > size:
        raise Refused("truncated", f"the file has {size} bytes, but its own table announces {end}", facts=facts)
    pixels = (facts.width or 0) * (facts.height or 0) or _picture_pixels(facts)
    held = size if picture is None or not picture.data_count else picture.data_count
    if file.contents is not None and file.contents.picture_at is not None:
        held = end - file.contents.picture_at
    if held * 8 < pixels * LEAST_BITS:
        raise Refused("pixels_missing", f"{held} bytes cannot hold {pixels} pixels", facts=facts)


def _data_end(file: Opened) -> int | None:
    """Where the file's own tables say that the sensor's data end; None where they are not there at all."""
    if file.contents is not None:
        if file.contents.picture_at is None:
            return None
        return file.contents.picture_end if file.contents.picture_end is not None else 0
    if file.skeleton is None or file.skeleton.cut:
        return None
    if file.format == "rw2":
        # Its strip length is a number without meaning (seen: 4,315,479,087).
        return 0
    return file.skeleton.data_end


def _picture_pixels(facts: FrameFacts) -> int:
    """Pixels of the picture as the tags announce it, where the structure does not tell the sensor's."""
    sides = {fact.name: fact.value for fact in facts.facts if fact.name in ("picture_width", "picture_height")}
    return int(sides.get("picture_width") or 0) * int(sides.get("picture_height") or 0)


def with_sensor(facts: FrameFacts, sensor: SensorArray, picture: tuple[int, int, int, int]) -> FrameFacts:
    """The facts with what only the decoder knows: size, mosaic, levels, and the part that sees light where that is
    not all (top, left, height, width).
    """
    height, width = sensor.data.shape
    levels = (("black_dn", sensor.black_dn), ("white_dn", sensor.white_dn))
    told = tuple(Fact(name, value, "DN", "structure", "", f"{value:g}") for name, value in levels if value is not None)
    if picture != (0, 0, height, width):
        place = " ".join(str(number) for number in picture)
        told += (Fact("picture_top_left_height_width", place, "px", "structure", "", place),)
    odd: tuple[FrameWarning, ...] = ()
    if not _in_order(sensor):
        odd = (warning("header_odd", f"black level {sensor.black_dn:g} DN, white level {sensor.white_dn:g} DN"),)
    return replace(
        facts,
        width=width,
        height=height,
        cfa=sensor.cfa,
        cfa_rows=sensor.cfa_rows,
        cfa_columns=sensor.cfa_columns,
        bits=sensor.bits,
        black_dn=None if odd else sensor.black_dn,
        white_dn=None if odd else sensor.white_dn,
        facts=facts.facts + told,
        warnings=facts.warnings + odd,
    )


def _in_order(sensor: SensorArray) -> bool:
    """Whether the levels can be those of a sensor: no black at or above white."""
    return sensor.black_dn is None or sensor.white_dn is None or sensor.black_dn < sensor.white_dn
