"""Column types that refuse or mend what a database would store wrongly without a word."""

import json
import math
import operator
from typing import Any

from sqlalchemy import BigInteger, Double, Integer, Text
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

KEY = BigInteger().with_variant(Integer, "sqlite")
"""Primary keys: only INTEGER names SQLite's row number."""


def _as_number(value: Any) -> Any:
    # numpy's numbers, without asking for numpy.
    if hasattr(value, "item"):
        return value.item()
    raise TypeError(f"{type(value).__name__} has no JSON")


_ENCODER = json.JSONEncoder(allow_nan=False, separators=(",", ":"), default=_as_number)
LEAST, MOST = -(2**63), 2**63 - 1


class Whole(TypeDecorator[int]):
    """A 64-bit integer. Anything with an exact integer value is stored as one; text and fractions are a TypeError.

    SQLite would keep text as text and a numpy integer as eight raw bytes, in a column declared INTEGER.
    """

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> int | None:
        return None if value is None else operator.index(value)


class Real(TypeDecorator[float]):
    """A double. Not-a-number and infinities are unknown, NULL: SQLite does so for NaN only, and keeps infinities."""

    impl = Double
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> float | None:
        if value is None:
            return None
        if isinstance(value, str):
            raise TypeError(f"a number is wanted, not the text {value!r}")
        number = float(value)
        return number if math.isfinite(number) else None


class Words(TypeDecorator[str]):
    """Text that every database takes: lone surrogates are written as escapes, and NUL characters are left out."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        return None if value is None else clean(value)


def clean(text: str) -> str:
    """A text as `Words` stores it; look-ups by text compare with this."""
    if text.isascii() and "\0" not in text:
        return str(text)
    return text.replace("\0", "").encode("utf-8", "backslashreplace").decode("utf-8")


class Json(TypeDecorator[Any]):
    """JSON as text; None is SQL NULL. A NaN is a ValueError: JSON has none. For null as a value, see `JsonValue`."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        return None if value is None else dumped(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> Any:
        return None if value is None else json.loads(value)


class JsonValue(TypeDecorator[Any]):
    """JSON as text of a column that is never NULL: None is stored as JSON's null, a value like others."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str:
        return dumped(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> Any:
        return json.loads(value)


def dumped(value: Any) -> str:
    """A value as JSON text, ASCII only, without blanks."""
    return _ENCODER.encode(value)


def whole(value: float | int | None) -> int | None:
    """A number for a Whole column: None where it is unknown, not finite or past 64 bits."""
    if value is None or not math.isfinite(value):
        return None
    number = int(value)
    return number if LEAST <= number <= MOST else None
