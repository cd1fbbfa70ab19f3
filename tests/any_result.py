"""Hypothesis strategies for any dataclass of the house, by its type hints: with hostile text, and ids that are ids."""

from __future__ import annotations

import types
import typing
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from enum import Enum
from typing import Any, Union, get_args, get_origin, get_type_hints

from hypothesis import strategies as st

from darklib.facts.frame import Frame
from darklib.facts.match import Choice, Match

HOSTILE_PIECES = (
    "\x1b[31m", "\x1b]0;title\x07", "\x00", "\r", "\n", "\t", "\x9b31m", "\u202e", "\u2028", "\udc80", "\udcff",
    "\ud83d", "[/]", "[bold]", "[/dark]", "[dark]", ":sun:", "{0}", "%s", "\\x1b", "é", "σ", "望遠鏡", "  ",
    "/astro/[dark]/x",
)  # fmt: skip
"""Escape codes, control characters, undecodable bytes, and what some library might take for markup."""

hostile_text = st.lists(st.one_of(st.sampled_from(HOSTILE_PIECES), st.text(max_size=4)), max_size=4).map("".join)
hex_digits = "0123456789abcdef"
nights = st.dates().map(lambda day: day.isoformat())
# Bounds spare hypothesis numbers it would have to reject, at the price of writing the whole strategy out.
figures = st.floats(-(2.0**127), 2.0**127, width=32)
moments = st.datetimes(datetime(1971, 1, 1), datetime(2100, 1, 1)).map(lambda at: at.replace(tzinfo=UTC))
counts = st.integers(0, 10**12)

BY_NAME: dict[str, st.SearchStrategy[Any]] = {
    "id": st.text(hex_digits, min_size=16, max_size=16),
    "same_as": st.text(hex_digits, min_size=16, max_size=16),
    "sha256": st.text(hex_digits, min_size=64, max_size=64),
    "kind_confidence": st.floats(0, 1),
    "saturated_fraction": st.floats(0, 1),
    "binning": st.tuples(st.integers(1, 16), st.integers(1, 16)),
    "pointing": st.sampled_from(("dithered", "fixed", "unknown")),
    "form": st.sampled_from(("exact", "merged", "scaled", "interpolated", "predicted")),
    "how": st.sampled_from(("cooler", "outdoors or fridge", "outdoors or freezer", "outdoors", "any")),
    "role": st.sampled_from(("dark", "flat", "bias", "dark_flat")),
    "part": st.integers(1, 9),
    "parts": st.integers(1, 9),
    "minutes": st.floats(0, 1e6),
    "lights_seconds": st.floats(0, 1e9),
    "age_days": st.one_of(st.none(), st.integers(0, 10**5)),
}
NIGHTS = frozenset({"night", "first_night", "last_night"})
SMALL = 2
"""Most members of any collection: enough for a comma, few enough to be quick."""


def any_of(cls: type[Any]) -> st.SearchStrategy[Any]:
    """Return a strategy for instances of the dataclass `cls`."""
    return _dataclass(cls, 0)


def _dataclass(cls: type[Any], depth: int) -> st.SearchStrategy[Any]:
    hints = get_type_hints(cls)
    parts = {}
    for field in fields(cls):
        if cls is Choice and depth and field.name in ("runners_up", "near_misses"):
            parts[field.name] = st.just(())
        else:
            parts[field.name] = _field(field.name, hints[field.name], depth + (cls is Choice))
    return st.builds(cls, **parts)


def _field(name: str, hint: Any, depth: int) -> st.SearchStrategy[Any]:
    if name in NIGHTS:
        return nights if hint is str else st.one_of(st.none(), nights)
    if name == "nights":
        return st.lists(nights, max_size=SMALL).map(tuple)
    if name in BY_NAME and (name != "id" or hint is str):
        return BY_NAME[name]
    return _hint(hint, depth)


def _hint(hint: Any, depth: int) -> st.SearchStrategy[Any]:
    origin, arguments = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return st.one_of(*(_hint(argument, depth) for argument in arguments))
    if hint is type(None):
        return st.none()
    if origin is tuple:
        if arguments[-1] is Ellipsis:
            most = 1 if arguments[0] in (Frame, Match) else SMALL
            return st.lists(_hint(arguments[0], depth), max_size=most).map(tuple)
        return st.tuples(*(_hint(argument, depth) for argument in arguments))
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return st.dictionaries(hostile_text, _hint(arguments[1], depth), max_size=SMALL)
    if isinstance(hint, typing.ForwardRef) or hint == "Choice":
        return _dataclass(Choice, depth)
    assert isinstance(hint, type), hint
    if is_dataclass(hint):
        return _dataclass(hint, depth)
    if issubclass(hint, Enum):
        return st.sampled_from(hint)
    simple: dict[type, st.SearchStrategy[Any]] = {
        str: hostile_text,
        bool: st.booleans(),
        int: counts,
        float: figures,
        datetime: moments,
    }
    return simple[hint]
