"""One line of a FITS header: 80 characters holding a keyword, a value and a comment (FITS Standard 4.0, section 4)."""

import re

Value = str | int | float | bool | None
_KEYWORD = re.compile(r"[A-Z0-9_-]{1,8}")
_COMMENTARY = frozenset({"COMMENT", "HISTORY"})


def card(keyword: str, value: Value, comment: str = "") -> bytes:
    """One card of 80 bytes in fixed format.

    Strings stand in quotes from byte 11, at least 8 characters long; numbers and logicals end at byte 30; None is a
    value left undefined; COMMENT and HISTORY take their text from byte 9. A comment too long for its line is cut.
    ValueError: a keyword that is none, text outside printable ASCII, or a value that does not fit.
    """
    if not _KEYWORD.fullmatch(keyword):
        raise ValueError(f"not a FITS keyword: {keyword!r}")
    if keyword in _COMMENTARY:
        line = f"{keyword:<8}{value}"
        if len(line) > 80:
            raise ValueError(f"too long for one card: {keyword}")
    else:
        shown = _shown(value)
        line = f"{keyword:<8}= {shown}"
        if len(line) > 80:
            raise ValueError(f"too long for one card: {keyword}")
        if comment:
            line = f"{line:<30} / {comment}"[:80]
    if not all(" " <= letter <= "~" for letter in line):
        raise ValueError(f"not printable ASCII: {keyword}")
    return f"{line:<80}".encode("ascii")


def _shown(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return f"{'T' if value else 'F':>20}"
    if isinstance(value, str):
        # Two quotes alone are the null string; padding would make it one blank, another value (section 4.2.1.1).
        quoted = "'" + (value.replace("'", "''").ljust(8) if value else "") + "'"
        return f"{quoted:<20}"
    text = str(value) if isinstance(value, int) else _real(value)
    return f"{text:>20}"


def _real(value: float) -> str:
    if value != value or value in (float("inf"), float("-inf")):
        raise ValueError("FITS has no way to write a number that is not finite")
    return repr(float(value)).upper()
