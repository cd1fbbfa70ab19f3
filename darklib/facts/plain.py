"""Dataclasses as plain JSON values and back, by their type hints; for the journal and the catalogue's JSON columns."""

import math
import types
import typing
from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from datetime import datetime
from enum import Enum
from functools import cache
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T")


_AS_IT_IS = frozenset({str, int, bool, type(None)})


_PARTS: dict[type, tuple[tuple[str, Any], ...] | None] = {}


def _parts(cls: type) -> tuple[tuple[str, Any], ...] | None:
    """Names and defaults of a dataclass's fields; None for any other type. Looked up once: every frame passes here."""
    if cls not in _PARTS:
        _PARTS[cls] = tuple((field.name, field.default) for field in fields(cls)) if is_dataclass(cls) else None
    return _PARTS[cls]


def to_plain(value: Any) -> Any:
    """A dataclass (or tuple, mapping, enum, datetime, scalar) as JSON values.

    Fields that equal their default are left out, so that a journal line stays short and a new field with a default
    needs no migration. Non-finite numbers become None: JSON has none.
    """
    cls = type(value)
    if cls in _AS_IT_IS:
        return value
    if cls is float:
        return value if math.isfinite(value) else None
    if cls is tuple or cls is list:
        return [to_plain(item) for item in value]
    parts = _parts(cls)
    if parts is not None:
        out = {}
        for name, default in parts:
            item = getattr(value, name)
            if item is default or (default is not MISSING and item == default):
                continue
            out[name] = to_plain(item)
        return out
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): to_plain(item) for key, item in value.items()}
    if isinstance(value, (tuple, list, frozenset)):
        return [to_plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def from_plain(cls: type[T], value: Any) -> T:
    """The inverse of `to_plain` for the dataclass `cls`; unknown keys are ignored, as an older program must cope."""
    return typing.cast("T", _build(cls, value))


@cache
def _hints(cls: type) -> dict[str, Any]:
    return get_type_hints(cls)


def _build(hint: Any, value: Any) -> Any:
    if value is None or hint is Any:
        return value
    origin = get_origin(hint)
    if origin in (Union, types.UnionType):
        options = [item for item in get_args(hint) if item is not type(None)]
        if len(options) == 1:
            return _build(options[0], value)
        return value
    if origin is tuple:
        arguments = get_args(hint)
        if len(arguments) == 2 and arguments[1] is Ellipsis:
            return tuple(_build(arguments[0], item) for item in value)
        return tuple(_build(kind, item) for kind, item in zip(arguments, value, strict=True))
    if origin in (dict, Mapping) or (isinstance(origin, type) and issubclass(origin, Mapping)):
        item_hint = get_args(hint)[1]
        return {key: _build(item_hint, item) for key, item in value.items()}
    if isinstance(hint, type):
        if is_dataclass(hint):
            known = _hints(hint)
            return hint(**{key: _build(known[key], item) for key, item in value.items() if key in known})
        if issubclass(hint, Enum):
            return hint(value)
        if hint is datetime:
            return datetime.fromisoformat(value)
        if hint is float and isinstance(value, int) and not isinstance(value, bool):
            return float(value)
    return value
