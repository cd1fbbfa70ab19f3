"""Whether a camera's tag is stored in the form that its standard gives it; damage shows there first.

A parser hands on what is stored, whatever the form: bytes that are no text come out as the text "b'...'", and a list of
numbers as "[1, 2]". Such a name is worse than none.
"""

import re
from typing import Any

from darklib.readers.units_written import NotUnderstood

BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SRATIONAL = 1, 2, 3, 4, 5, 7, 10

_TEXT, _FRACTION, _WHOLE = (ASCII,), (RATIONAL,), (SHORT, LONG)
FORMS: dict[str, tuple[tuple[int, ...], int | None]] = {
    "Image Make": (_TEXT, None),
    "Image Model": (_TEXT, None),
    "EXIF BodySerialNumber": (_TEXT, None),
    "Image Tag 0xC62F": (_TEXT, None),
    "EXIF LensModel": (_TEXT, None),
    "EXIF DateTimeOriginal": (_TEXT, None),
    "Image DateTimeOriginal": (_TEXT, None),
    "EXIF DateTimeDigitized": (_TEXT, None),
    "EXIF SubSecTimeOriginal": (_TEXT, None),
    "EXIF OffsetTimeOriginal": (_TEXT, None),
    "EXIF ExposureTime": (_FRACTION, 1),
    "Image ExposureTime": (_FRACTION, 1),
    "EXIF ShutterSpeedValue": ((SRATIONAL, RATIONAL), 1),
    "EXIF FocalLength": (_FRACTION, 1),
    "EXIF FNumber": (_FRACTION, 1),
    "EXIF ISOSpeedRatings": (_WHOLE, None),  # some write two
    "Image ISOSpeedRatings": (_WHOLE, None),
    "EXIF SensitivityType": (_WHOLE, 1),
    "EXIF StandardOutputSensitivity": (_WHOLE, 1),
    "EXIF Tag 0x8831": (_WHOLE, 1),
    "EXIF RecommendedExposureIndex": (_WHOLE, 1),
    "EXIF ISOSpeed": (_WHOLE, 1),
    "EXIF Tag 0x9400": ((SRATIONAL,), 1),
    "EXIF AmbientTemperature": ((SRATIONAL,), 1),
}
"""Types (TIFF 6.0, section 2) and number of values of tags as Exif 2.32 and DNG 1.4 give them; None: any number."""

PICTURE_FORMS: dict[int, tuple[tuple[int, ...], int | None]] = {
    256: (_WHOLE, 1), 257: (_WHOLE, 1), 258: (_WHOLE, None), 259: (_WHOLE, 1), 262: (_WHOLE, 1), 273: (_WHOLE, None),
    277: (_WHOLE, 1), 278: (_WHOLE, 1), 279: (_WHOLE, None), 322: (_WHOLE, 1), 323: (_WHOLE, 1), 324: (_WHOLE, None),
    325: (_WHOLE, None), 33421: (_WHOLE, 2), 33422: ((BYTE, UNDEFINED), None), 50713: (_WHOLE, 2),
    50714: ((SHORT, LONG, RATIONAL), None), 50717: (_WHOLE, None), 50829: (_WHOLE, 4),
    271: (_TEXT, None), 272: (_TEXT, None), 0x829A: (_FRACTION, 1), 0x8827: (_WHOLE, None), 0x8830: (_WHOLE, 1),
    0x8832: (_WHOLE, 1), 0x9003: (_TEXT, None), 0x9011: (_TEXT, None), 0x9291: (_TEXT, None), 0x9400: ((SRATIONAL,), 1),
    0x920A: (_FRACTION, 1), 0xA431: (_TEXT, None), 0xA434: (_TEXT, None),
}  # fmt: skip
"""The same by number, of the tags that say how a picture is stored, and of those that a parser drops in silence
when they are damaged. Short and long stand for each other in files.
"""

LONGEST_TEXT = 1000
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\ufffd]")


def check(name: str, tag: Any) -> str:
    """What is odd about the form of a tag, or empty. Raises NotUnderstood where it is another than the standard's."""
    forms, count = FORMS.get(name, (None, None))
    form = int(getattr(tag, "field_type", 0))
    if forms is not None and form not in forms:
        raise NotUnderstood("stored in another form than the standard's")
    if count is not None and len(tag.values) != count:
        raise NotUnderstood(f"{len(tag.values)} numbers where there should be {count}")
    if form != ASCII:
        return ""
    if isinstance(tag.values, bytes) and tag.values.strip(b"\0 "):
        raise NotUnderstood("bytes that are no text")
    if getattr(tag, "field_length", 0) > LONGEST_TEXT:
        raise NotUnderstood("too long for a text of its sort")
    told = str(tag.values).split("\0")[0].strip(" ") if isinstance(tag.values, str) else ""
    if _CONTROL.search(told):
        raise NotUnderstood("control characters in a text")
    return "" if told.isascii() else "characters outside ASCII"
