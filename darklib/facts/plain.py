"""Dataclasses as plain JSON values and back, by their type hints; for the journal and the catalogue's JSON columns."""

import math
import types
import typing
from collections.abc import Callable, Mapping
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
    make = _maker(typing.cast("Any", cls))
    return typing.cast("T", value if make is None or value is None else make(value))


Maker = Callable[[Any], Any]


@cache
def _maker(hint: Any) -> Maker | None:
    """What makes a value of a type from a plain one other than None; None where it stays as it is.

    Made once a type: a replay makes millions of values.
    """
    origin = get_origin(hint)
    if origin in (Union, types.UnionType):
        options = [item for item in get_args(hint) if item is not type(None)]
        return _maker(options[0]) if len(options) == 1 else None
    if origin is tuple:
        return _tuple_maker(get_args(hint))
    if origin in (dict, Mapping) or (isinstance(origin, type) and issubclass(origin, Mapping)):
        return _mapping_maker(_maker(get_args(hint)[1]))
    if isinstance(hint, type):
        if is_dataclass(hint):
            return _dataclass_maker(hint)
        if issubclass(hint, Enum):
            return hint
        if hint is datetime:
            return datetime.fromisoformat
        if hint is float:
            return _float
    return None


def _float(value: Any) -> Any:
    return float(value) if type(value) is int else value


def _tuple_maker(arguments: tuple[Any, ...]) -> Maker:
    if len(arguments) == 2 and arguments[1] is Ellipsis:
        make = _maker(arguments[0])
        if make is None:
            return tuple
        return lambda value: tuple([item if item is None else make(item) for item in value])
    makers = [_maker(argument) for argument in arguments]
    return lambda value: tuple(
        [item if item is None or one is None else one(item) for one, item in zip(makers, value, strict=True)]
    )


def _mapping_maker(make: Maker | None) -> Maker:
    if make is None:
        return dict
    return lambda value: {key: item if item is None else make(item) for key, item in value.items()}


def _dataclass_maker(cls: Any) -> Maker:
    makers: dict[str, Maker | None] = {}

    def made(value: Any) -> Any:
        if not makers:  # not before it is needed: a class may hold others of its own sort
            makers.update({name: _maker(hint) for name, hint in get_type_hints(cls).items()})
        found = {}
        for key, item in value.items():
            if key in makers:
                make = makers[key]
                found[key] = item if item is None or make is None else make(item)
        return cls(**found)

    return made
