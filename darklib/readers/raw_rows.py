"""The table of camera tags: which tag tells which fact, and how. A new quirk of a camera is one row or one rule here.

Tag names are exifread's. Numbers and meanings: Exif 2.32, DNG 1.4; maker's notes as general-purpose metadata libraries
publish them. Rules raise NotKnown and NotUnderstood as those of FITS headers do.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from darklib.readers.dialect_rules import COLDEST_C, HOTTEST_C, LONGEST_S, Told
from darklib.readers.units_written import NotKnown, NotUnderstood

TagRule = Callable[[Any, str], Told]


@dataclass(frozen=True, slots=True)
class TagRow:
    """tag: the full name. field: what it tells. Where several tell one field, the row further up wins."""

    tag: str
    field: str
    rule: TagRule
    source: str


def ratio(tag: Any) -> float:
    """A rational or number as a float. Raises NotKnown for a zero denominator, 0/0 or 'all ones'."""
    values = tag.values if isinstance(tag.values, (list, tuple)) else [tag.values]
    if not values:
        raise NotKnown("no value")
    first = values[0]
    top, bottom = getattr(first, "num", first), getattr(first, "den", 1)
    if not isinstance(top, (int, float)):
        raise NotUnderstood("not a number")
    if bottom in (0, -1, 0xFFFFFFFF):
        raise NotKnown("a denominator that stands for 'not known'", sentinel=True)
    return float(top) / float(bottom)


def whole(tag: Any) -> int:
    """The first value as an integer."""
    values = tag.values if isinstance(tag.values, (list, tuple)) else [tag.values]
    if not values or isinstance(values[0], (str, bytes)):
        raise NotUnderstood("not a number")
    return int(values[0])


def words(tag: Any) -> str:
    """A tag's text without blanks at its ends; NULs end it."""
    return str(tag).split("\0")[0].strip()


def text(tag: Any, field: str) -> Told:
    """Text that is neither blank nor a word for nothing."""
    told = " ".join(words(tag).split())
    if told.casefold() in ("", "n/a", "unknown", "none", "----", "--", "0"):
        raise NotKnown("blank")
    return Told(field, told)


def serial(tag: Any, field: str) -> Told:
    """A serial number; blank or zeros are unknown."""
    told = " ".join(words(tag).split())
    told = re.sub(r"^NO=\s*", "", told)
    if not told.strip("0 -") or told.casefold() in ("n/a", "unknown", "none"):
        raise NotKnown("blank")
    return Told(field, told)


def seconds(tag: Any, field: str) -> Told:
    """ExposureTime, in seconds."""
    value = ratio(tag)
    if value == 0.0:
        raise NotKnown("no time", sentinel=True)
    if not 0.0 < value <= LONGEST_S:
        raise NotUnderstood("no possible exposure")
    return Told(field, round(value, 9), "s")


def apex_seconds(tag: Any, field: str) -> Told:
    """ShutterSpeedValue: 2 to the power of minus the value (Exif 2.32, annex C), nominal and so less exact."""
    value = ratio(tag)
    if not -20.0 <= value <= 20.0:
        raise NotUnderstood("no possible exposure")
    return Told(field, round(2.0**-value, 6), "s", "from the APEX value", "value_odd")


def iso(tag: Any, field: str) -> Told:
    """A positive ISO speed; the last of several values, as one maker stores two numbers."""
    values = tag.values if isinstance(tag.values, (list, tuple)) else [tag.values]
    numbers = [int(value) for value in values if isinstance(value, (int, float)) and not isinstance(value, bool)]
    if not numbers:
        raise NotUnderstood("not a number")
    if numbers[-1] <= 0:
        raise NotKnown("stands for 'not known'", sentinel=True)
    return Told(field, numbers[-1])


_DEGREES = re.compile(r"(-?\d+)\s*C?$")


def camera_degrees(tag: Any, field: str) -> Told:
    """Whole degrees C as printed; -128 is a stored 0, which stands for unknown."""
    match = _DEGREES.match(words(tag))
    if not match:
        raise NotUnderstood("no temperature")
    return _temperature(int(match.group(1)), field)


def camera_degrees_stored(tag: Any, field: str) -> Told:
    """The thirteenth number of a maker's block of shot facts, 128 more than the degrees C; 0 is unknown."""
    values = list(tag.values)
    if len(values) < 13:
        raise NotUnderstood("the block is too short")
    return _temperature(int(values[12]) - 128, field)


def _temperature(value: int, field: str) -> Told:
    if value == -128:
        raise NotKnown("stored as 0, which stands for 'not known'")
    if not COLDEST_C <= value <= HOTTEST_C:
        raise NotUnderstood("no possible temperature")
    return Told(field, float(value), "degC")


def air_degrees(tag: Any, field: str) -> Told:
    """AmbientTemperature, of the air about the camera and never the sensor's (Exif 2.31)."""
    value = ratio(tag)
    if not COLDEST_C <= value <= HOTTEST_C:
        raise NotUnderstood("no possible temperature")
    return Told(field, round(value, 4), "degC")


def enciphered_degrees(tag: Any, field: str) -> Told:
    """The sixth byte of a maker's block is degrees C while the fifth is neither 0 nor 100 or more.

    Each byte is stored as its cube modulo 249. Layout and cipher as metadata libraries publish them; values from
    memory, and no real file with a filled block was seen.
    """
    block = [_PLAIN.get(int(byte), int(byte)) for byte in list(tag.values)[:6]]
    if len(block) < 6:
        raise NotKnown("the block is empty")
    if not 0 < block[4] < 100:
        raise NotKnown("the block says that it holds no temperature")
    value = block[5] - 256 if block[5] > 127 else block[5]
    told = _temperature(value, field)
    return Told(field, told.value, "degC", "from a block whose layout was not seen in a real file", "value_odd")


_PLAIN = {pow(plain_byte, 3, 249): plain_byte for plain_byte in range(249)}


def quality(tag: Any, field: str) -> Told:
    """The fourth number of a maker's block of settings, as words that `raw_form` knows."""
    values = list(tag.values)
    if len(values) < 4 or values[3] not in (4, 7):
        raise NotKnown("not told")
    return Told(field, f"quality {int(values[3])}")


def on_off(tag: Any, field: str) -> Told:
    """Long-exposure noise reduction: on or off; automatic is unknown."""
    word = words(tag).casefold()
    if word in ("off", "n/a"):
        return Told(field, False)
    if word in ("on", "on (1d)"):
        return Told(field, True)
    raise NotKnown("automatic or not told" if word in ("auto", "") else "a setting whose meaning is not known")


def noise_words(tag: Any, field: str) -> Told:
    """One maker's word for all noise reduction: OFF, or FPNR for the dark taken after a long exposure."""
    word = words(tag).upper()
    if word == "OFF":
        return Told(field, False)
    if word == "FPNR":
        return Told(field, True)
    raise NotKnown("blank" if not word else "a setting whose meaning is not known")


def lighting_block(tag: Any, field: str) -> Told:
    """The fifth number of a maker's block: 0 off, 1 automatic, 2 on."""
    values = list(tag.values)
    if len(values) < 5:
        raise NotUnderstood("the block is too short")
    if values[4] not in (0, 2):
        raise NotKnown("automatic or not told")
    return Told(field, values[4] == 2)


def length_mm(tag: Any, field: str) -> Told:
    """Focal length of the lens; 0 where no lens speaks."""
    value = ratio(tag)
    if value <= 0.0:
        raise NotKnown("no lens that speaks", sentinel=True)
    if value > 20_000.0:
        raise NotUnderstood("no possible length")
    return Told(field, round(value, 3), "mm")


def f_number(tag: Any, field: str) -> Told:
    """The stop of the lens; 0 where no lens speaks."""
    value = ratio(tag)
    if not 0.0 < value < 200.0:
        raise NotKnown("no lens that speaks", sentinel=True)
    return Told(field, round(value, 3))


_STAMP = re.compile(r"(\d{4}):(\d\d):(\d\d) (\d\d):(\d\d):(\d\d)$")


def stamp(tag: Any, field: str) -> Told:
    """`YYYY:MM:DD HH:MM:SS` by the camera's clock, as ISO text. A month 13 is no date, whatever decoders make of it."""
    told = words(tag)
    match = _STAMP.match(told)
    if not match or told.startswith("0000"):
        raise NotKnown("no date") if not told.strip("0: ") else NotUnderstood("no date")
    try:
        found = datetime(*(int(part) for part in match.groups()))  # type: ignore[arg-type] # noqa: DTZ001 - no zone yet
    except ValueError as error:
        raise NotUnderstood("no such moment") from error
    return Told(field, found.isoformat())


def digits(tag: Any, field: str) -> Told:
    """Digits of a fraction of a second: '5' is half a second, '05' a twentieth."""
    told = words(tag)
    if not told:
        raise NotKnown("blank")
    if not (told.isascii() and told.isdigit()):
        raise NotUnderstood("not digits")
    return Told(field, told)


def offset(tag: Any, field: str) -> Told:
    """Offset from UTC as +HH:MM."""
    told = words(tag)
    if not told.strip(": "):
        raise NotKnown("blank")
    if not re.fullmatch(r"[+-](0\d|1[0-5]):[0-5]\d", told):
        raise NotUnderstood("no offset from UTC")
    return Told(field, told)


def site_degrees(tag: Any, field: str) -> Told:
    """Degrees, minutes and seconds as three fractions, without a sign: another tag has the side."""
    parts = [ratio(_One(part)) for part in list(tag.values)[:3]]
    if len(parts) < 3:
        raise NotUnderstood("not degrees, minutes and seconds")
    value = parts[0] + parts[1] / 60 + parts[2] / 3600
    if not 0.0 <= value <= 180.0:
        raise NotUnderstood("no possible angle")
    return Told(field, round(value, 7), "deg")


def side(tag: Any, field: str) -> Told:
    """N, S, E or W."""
    told = words(tag).upper()
    if told not in ("N", "S", "E", "W"):
        raise NotKnown("blank")
    return Told(field, told)


@dataclass(frozen=True, slots=True)
class _One:
    """One of a tag's values, as a tag of its own."""

    value: Any

    @property
    def values(self) -> list[Any]:
        return [self.value]


def number(tag: Any, field: str) -> Told:
    """A whole number."""
    return Told(field, whole(tag))


def plain(tag: Any, field: str) -> Told:
    """What the tag prints, for the record."""
    return Told(field, words(tag))


EXIF, DNG, NOTE = "Exif 2.32", "DNG 1.4", "maker's note, as metadata libraries publish it"

ROWS: tuple[TagRow, ...] = (
    TagRow("Image Make", "make", text, EXIF),
    TagRow("Image Model", "model", text, EXIF),
    TagRow("EXIF BodySerialNumber", "serial", serial, EXIF),
    TagRow("Image Tag 0xC62F", "serial", serial, DNG),
    TagRow("MakerNote SerialNumber", "serial", serial, NOTE),
    TagRow("MakerNote InternalSerialNumber", "serial", serial, NOTE),
    TagRow("EXIF ExposureTime", "exposure_s", seconds, EXIF),
    TagRow("Image ExposureTime", "exposure_s", seconds, EXIF),
    TagRow("EXIF ShutterSpeedValue", "exposure_s", apex_seconds, EXIF),
    TagRow("EXIF ISOSpeedRatings", "iso", iso, EXIF),
    TagRow("Image ISOSpeedRatings", "iso", iso, EXIF),
    TagRow("EXIF SensitivityType", "sensitivity_type", number, EXIF),
    TagRow("EXIF StandardOutputSensitivity", "iso_standard_output", iso, EXIF),
    TagRow("EXIF Tag 0x8831", "iso_standard_output", iso, EXIF),
    TagRow("EXIF RecommendedExposureIndex", "iso_recommended", iso, EXIF),
    TagRow("EXIF ISOSpeed", "iso_speed", iso, EXIF),
    TagRow("MakerNote ISOSetting", "iso", iso, NOTE),
    TagRow("Image Tag 0x0017", "iso", iso, NOTE),  # only in RW2; see `raws`
    TagRow("EXIF DateTimeOriginal", "stamp", stamp, EXIF),
    TagRow("Image DateTimeOriginal", "stamp", stamp, EXIF),
    TagRow("EXIF DateTimeDigitized", "stamp", stamp, EXIF),
    TagRow("EXIF SubSecTimeOriginal", "stamp_fraction", digits, EXIF),
    TagRow("EXIF OffsetTimeOriginal", "stamp_offset", offset, EXIF),
    TagRow("EXIF OffsetTimeDigitized", "stamp_offset", offset, EXIF),
    TagRow("EXIF OffsetTime", "stamp_offset", offset, EXIF),  # of the file's own date, by the same clock
    TagRow("GPS GPSLatitude", "latitude_deg", site_degrees, EXIF),
    TagRow("GPS GPSLatitudeRef", "latitude_side", side, EXIF),
    TagRow("GPS GPSLongitude", "longitude_deg", site_degrees, EXIF),
    TagRow("GPS GPSLongitudeRef", "longitude_side", side, EXIF),
    TagRow("EXIF FocalLength", "focal_length_mm", length_mm, EXIF),
    TagRow("EXIF FNumber", "f_number", f_number, EXIF),
    TagRow("EXIF LensModel", "telescope", text, EXIF),
    TagRow("EXIF Tag 0x9400", "ambient_temperature_c", air_degrees, EXIF),  # the full name: a maker has a 0x9400 too
    TagRow("EXIF AmbientTemperature", "ambient_temperature_c", air_degrees, EXIF),
    TagRow("MakerNote CameraTemperature", "sensor_temperature_c", camera_degrees, NOTE),
    TagRow("MakerNote Tag 0x0004", "sensor_temperature_c", camera_degrees_stored, NOTE),  # only in CR3; see `raws`
    TagRow("MakerNote Tag 0x9403", "sensor_temperature_c", enciphered_degrees, NOTE),  # only in ARW
    TagRow("MakerNote LongExposureNoiseReduction2", "in_camera_subtraction", on_off, NOTE),
    TagRow("MakerNote LongExposureNoiseReduction", "in_camera_subtraction", on_off, NOTE),
    TagRow("MakerNote NoiseReduction", "in_camera_subtraction", noise_words, NOTE),  # only in NEF; see `raws`
    TagRow("MakerNote Tag 0x4018", "in_camera_subtraction", lighting_block, NOTE),  # only in CR3; see `raws`
    TagRow("EXIF ExifImageWidth", "picture_width", number, EXIF),
    TagRow("EXIF ExifImageLength", "picture_height", number, EXIF),
    TagRow("MakerNote NEFCompression", "compression_word", plain, NOTE),
    TagRow("MakerNote Tag 0x0001", "compression_word", quality, NOTE),  # only in CR3
)

ONLY_IN: dict[str, str] = {
    "Image Tag 0x0017": "rw2",
    "MakerNote Tag 0x0004": "cr3",
    "MakerNote Tag 0x4018": "cr3",
    "MakerNote Tag 0x0001": "cr3",
    "MakerNote Tag 0x9403": "arw",
    "MakerNote NoiseReduction": "nef",
    "MakerNote NEFCompression": "nef",
    "MakerNote ISOSetting": "nef",
}
"""Tags whose number or name means something else in another maker's files."""

SEEN_NOT_USED: dict[str, str] = {
    "MakerNote SensorTemperature": "a number whose scale is not known",
    "MakerNote LensTemperature": "of the lens, not of the sensor",
    "Image DateTime": "the time of the last change of the file, not of the exposure",
    "MakerNote ISO": "not the ISO that was set",
    "MakerNote BaseISO": "not the ISO that was set",
    "Image Orientation": "how to turn a picture for viewing; sensor data are never turned",
}
"""Tags that look like a fact and are none, with the reason given to the user."""
