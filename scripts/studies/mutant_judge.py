"""What came of a damaged file, and whether darklib took anything false for true.

A damaged file that is taken must not tell anything else than the sound one did, unless

- the frame carries a warning that the sound one does not; or
- the thing is merely no longer known (None); or
- the file itself says so in a form that its format allows, so that nobody could tell it from an honest file: every
  header card that is new in it and has to do with the fact is one that an independent library (astropy, asked for
  strictness) finds in order; or, in a TIFF-like file, every entry that is new in it has the type and count which its
  format prescribes; or, for the figures of the pixels, the pixels' bytes are others.

Anything else is a wrong fact without a flag. A damaged copy of a file that is refused when sound (its pixels are not
there) must not be taken without a warning.
"""

from __future__ import annotations

import struct
import warnings
import zlib
from collections import Counter
from dataclasses import dataclass, fields
from typing import Any

from darklib.facts.frame import FrameFacts
from darklib.facts.train import TrainFacts
from darklib.readers.answers import Look
from darklib.readers.dialects import BY_KEYWORD
from scripts.studies.mutant_originals import Original
from scripts.studies.mutations import BLOCK, CARD, headers
from scripts.studies.tiff_entries import entries, order_of, tiff_start

SAME, FLAGGED, UNKNOWN, SAID = "same facts", "flagged", "a fact unknown", "the file says so"
PASSED, ENDED, WRONG = "passed over", "ended by a limit", "WRONG"
OUTCOMES = (SAME, FLAGGED, UNKNOWN, SAID, PASSED, ENDED, WRONG)
"""The rest are codes of refusals."""

_NOT_COMPARED = frozenset(("facts", "ignored", "warnings"))
_FORM = ("SIMPLE", "XTENSION", "BITPIX", "NAXIS", "PCOUNT", "GCOUNT", "GROUPS", "BSCALE", "BZERO", "BLANK", "EXTEND")
_TOLD_BY: dict[str, tuple[str, ...]] = {
    "binning": ("binning_x", "binning_y", "binning"),
    "taken_at": ("date_", "time_", "mjd_", "jd_", "exposure"),
    "time_origin": ("date_", "time_", "mjd_", "jd_", "exposure"),
    "train": ("telescope", "focal_length_mm", "aperture_mm"),
    "filter": ("filter",),
    "kind": ("kind",),
    "cfa": ("cfa",), "cfa_rows": ("cfa",), "cfa_columns": ("cfa",),
    "e_per_dn": ("gain", "e_per_dn"),
    "temperature_origin": ("sensor_temperature_c",),
    "combined": ("combined", "steps_done", "bias_removed"),
    "origin_x": ("origin_x", "section"), "origin_y": ("origin_y", "section"),
}  # fmt: skip
"""Fields of FrameFacts that are put together of several rows of the dialect table: beginnings of the rows' fields."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """outcome: one of OUTCOMES or the code of a refusal; wrong: what was false, in words."""

    outcome: str
    wrong: tuple[str, ...] = ()


def judge(original: Original, sound: Look, data: bytes, found: Look) -> Verdict:
    """What came of a damaged copy. sound: what the undamaged file gave; data, found: the damaged one and its look."""
    if found.not_an_image:
        return Verdict(PASSED)
    if found.refusal is not None:
        return Verdict(ENDED if found.refusal.code in ("reading_hung", "reading_crashed") else found.refusal.code)
    if found.facts is None:
        return Verdict(WRONG, ("taken without facts",))
    flagged = bool(_warned(found) - _warned(sound))
    if sound.refusal is not None or sound.facts is None:
        return Verdict(FLAGGED) if flagged else Verdict(WRONG, ("taken, though the sound one is refused",))
    differing = _differing(sound.facts, found.facts)
    if found.pixels != sound.pixels and "cfa" not in differing:  # the planes of colour follow from the mosaic
        differing["pixels"] = (sound.pixels, found.pixels)
    if flagged or not differing:
        return Verdict(FLAGGED if flagged else SAME)
    known = {name: pair for name, pair in differing.items() if not _only_less(*pair)}
    if not known:
        return Verdict(UNKNOWN)
    excused = _excused_by_cards if original.family in ("fits", "gzip") else _excused_by_entries
    wrong = excused(original, data, known)
    return Verdict(WRONG, wrong) if wrong else Verdict(SAID)


def _only_less(was: Any, now: Any) -> bool:
    """Whether nothing is claimed that was not before."""
    if isinstance(now, TrainFacts) and isinstance(was, TrainFacts):
        pairs = [(getattr(was, field.name), getattr(now, field.name)) for field in fields(TrainFacts)]
        return all(after is None or after == before for before, after in pairs)
    return now is None


def _warned(look: Look) -> Counter[tuple[str, str]]:
    return Counter((one.code, one.text) for one in look.facts.warnings) if look.facts else Counter()


def _differing(one: FrameFacts, other: FrameFacts) -> dict[str, tuple[Any, Any]]:
    pairs = {
        field.name: (getattr(one, field.name), getattr(other, field.name))
        for field in fields(FrameFacts)
        if field.name not in _NOT_COMPARED
    }
    return {name: pair for name, pair in pairs.items() if pair[0] != pair[1]}


# FITS


def _excused_by_cards(original: Original, data: bytes, known: dict[str, tuple[Any, Any]]) -> tuple[str, ...]:
    before, after = _unpacked(original.data), _unpacked(data)
    old, new = _cards(before), _cards(after)
    lost, come = list((old - new).elements()), list((new - old).elements())
    wrong = []
    for name, (was, now) in known.items():
        if name == "pixels" and _data(before, len(before)) != _data(after, len(before)):
            continue
        mine = [card for card in come if _has_to_do_with(card, name)]
        # Where the card is gone, its keyword became another, which has to be in order too.
        suspects = mine or (come if any(_has_to_do_with(card, name) for card in lost) else [b""])
        strange = [card for card in suspects if not valid(card)]
        if strange:
            wrong.append(f"{name}: {was!r} became {now!r}; cards {strange[:2]!r}"[:600])
    return tuple(wrong)


def _unpacked(data: bytes) -> bytes:
    if data[:2] != b"\x1f\x8b":
        return data
    try:
        return zlib.decompressobj(wbits=31).decompress(data, 1 << 22)
    except zlib.error:
        return b""


def _cards(data: bytes) -> Counter[bytes]:
    return Counter(
        data[start + n * CARD : start + (n + 1) * CARD] for start, cards in headers(data) for n in range(cards)
    )


def _data(data: bytes, most: int) -> bytes:
    """What follows the last header, at most so many bytes."""
    start, cards = headers(data)[-1]
    return data[start + -(-(cards + 1) * CARD // BLOCK) * BLOCK :][:most].rstrip(b"\0")


def _has_to_do_with(card: bytes, name: str) -> bool:
    keyword = card[9:].partition(b"=")[0] if card.startswith(b"HIERARCH ") else card[:8]
    word = keyword.decode("latin-1").strip().upper()
    if word.startswith(_FORM) or word.removeprefix("Z").startswith(_FORM) or word.startswith("Z"):
        return name in ("width", "height", "bits", "compression", "pixels")
    row = BY_KEYWORD.get(word)
    if row is None:
        return False
    starts = ("cfa", "white_dn") if name == "pixels" else _TOLD_BY.get(name, (name,))
    return row[1].field.startswith(starts)


def valid(card: bytes) -> bool:
    """Whether a card is one that the standard allows, by a library that darklib does not read headers with."""
    from astropy.io import fits

    if any(not 32 <= byte < 127 for byte in card):
        return False
    if card[:8] in (b"COMMENT ", b"HISTORY ", b"        ", b"CONTINUE"):
        return True
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            read = fits.Card.fromstring(card)
            read.verify("exception")
            return bool(read.keyword) and (read.value is None or read.value == read.value)
        except Exception:  # noqa: BLE001 - whatever the library says, it does not find the card in order
            return False


# TIFF

_SHAPES: dict[int, tuple[tuple[int, ...], int | None]] = {
    256: ((3, 4), 1), 257: ((3, 4), 1), 258: ((3,), None), 259: ((3,), 1), 262: ((3,), 1), 271: ((2,), None),
    272: ((2,), None), 273: ((3, 4), None), 277: ((3,), 1), 278: ((3, 4), 1), 279: ((3, 4), None), 306: ((2,), 20),
    322: ((3, 4), 1), 323: ((3, 4), 1), 324: ((4,), None), 325: ((3, 4), None), 330: ((4, 13), None),
    33421: ((3,), 2), 33422: ((1,), None), 34665: ((4, 13), 1), 0x829A: ((5,), 1), 0x829D: ((5,), 1),
    0x8827: ((3,), None), 0x8830: ((3,), 1), 0x8831: ((4,), 1), 0x8832: ((4,), 1), 0x8833: ((4,), 1),
    0x9003: ((2,), 20), 0x9004: ((2,), 20), 0x9010: ((2,), 7), 0x9011: ((2,), 7), 0x9291: ((2,), None),
    0x9400: ((10,), 1), 0x9201: ((10,), 1), 0x920A: ((5,), 1), 0xA431: ((2,), None), 0xA434: ((2,), None),
    50706: ((1,), 4), 50708: ((2,), None), 50713: ((3,), 2), 50714: ((3, 4, 5), None), 50717: ((3, 4), None),
    50735: ((2,), None), 50829: ((3, 4), 4),
}  # fmt: skip
"""Types and count of the entries that tell facts: TIFF 6.0, Exif 2.32, DNG 1.4. Count None: any."""


_PICTURE = frozenset((256, 257, 258, 259, 262, 271, 272, 273, 277, 278, 279, 322, 323, 324, 325, 330))
_PICTURE_FIELDS = frozenset(("width", "height", "bits", "black_dn", "white_dn", "compression", "demosaiced", "pixels"))
_TAGS: dict[str, frozenset[int]] = {
    "make": frozenset((271,)), "model": frozenset((272,)), "serial": frozenset((0xA431, 50735)),
    "exposure_s": frozenset((0x829A, 0x9201)), "iso": frozenset((0x8827, 0x8830, 0x8831, 0x8832, 0x8833, 0x17)),
    "taken_at": frozenset((0x9003, 0x9004, 0x9011, 0x9291)), "time_origin": frozenset((0x9003, 0x9004)),
    "ambient_temperature_c": frozenset((0x9400,)), "train": frozenset((0xA434, 0x920A, 0x829D)),
}  # fmt: skip


def _excused_by_entries(original: Original, data: bytes, known: dict[str, tuple[Any, Any]]) -> tuple[str, ...]:
    old, new = Counter(_entries(original.data)), Counter(_entries(data))
    changed = list((new - old).elements()) + [said for said in (old - new).elements() if _gone(said, new)]
    wrong = []
    for name, (was, now) in known.items():
        if name == "pixels" and picture(original.data) != picture(data):
            continue
        mine = [said for said in changed if _tells(said[0], name)]
        improper = [said for said in mine if said in new and not _proper(said)]
        if improper or not mine:
            wrong.append(f"{name}: {was!r} became {now!r}; entries {improper[:2]!r}"[:600])
    return tuple(wrong)


def _gone(said: tuple[int, int, int, bytes | None], new: Counter[tuple[int, int, int, bytes | None]]) -> bool:
    """Whether a tag is not in the damaged file at all: then what it told comes from elsewhere, or is a default."""
    return all(other[0] != said[0] for other in new)


def _tells(tag: int, name: str) -> bool:
    if name in _TAGS:
        return tag in _TAGS[name]
    if name in _PICTURE_FIELDS or name.startswith("cfa"):
        return tag in _PICTURE or tag in (33421, 33422) or 50706 <= tag <= 51200 or tag < 10
    return False


def _entries(data: bytes) -> list[tuple[int, int, int, bytes | None]]:
    start = tiff_start(data)
    return [] if start is None else [entry.said for entry in entries(data, start)]


def picture(data: bytes) -> bytes:
    """The bytes of the picture: where the file's own entries, or its table of offsets, say that they are."""
    if data[:4] == b"FUJI" and len(data) >= 108:
        at, size = struct.unpack_from(">2I", data, 100)
        return data[at : at + size]
    found: dict[int, list[int]] = {273: [], 279: [], 324: [], 325: []}
    start = tiff_start(data) or 0
    for entry in entries(data, start):
        if entry.tag in found and entry.value and entry.form in (3, 4):
            letter = "H" if entry.form == 3 else "I"
            found[entry.tag] += struct.unpack(
                f"{order_of(data[start:])}{len(entry.value) // (2 if entry.form == 3 else 4)}{letter}", entry.value
            )
    places = [*zip(found[273], found[279], strict=False), *zip(found[324], found[325], strict=False)]
    return b"".join(data[at : at + size] for at, size in places[:64])


def _proper(said: tuple[int, int, int, bytes | None]) -> bool:
    tag, form, count, value = said
    if tag not in _SHAPES:
        return True
    forms, wanted = _SHAPES[tag]
    if form not in forms or value is None or count == 0 or (wanted is not None and count != wanted):
        return False
    if tag == 33422 and max(value) > 6:
        return False
    # Exif wants a NUL at the end of a text; honest files lack it, so it is not asked for.
    return form != 2 or all(32 <= byte < 127 for byte in value.split(b"\0")[0])
