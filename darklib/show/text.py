"""Text as it may be shown: data from files made harmless, and figures written the way people read them.

Our own words are plain ASCII, so that they survive any console; data may hold anything, and what could steer a terminal
or is no text at all is shown as its code.
"""

import re
from datetime import UTC, datetime

# C0, DEL and C1 controls, line and paragraph separators, marks that turn the direction of writing, lone surrogates.
_UNSAFE = re.compile("[\x00-\x1f\x7f-\x9f\u061c\u2028\u2029\u200e\u200f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
_SURROGATE = re.compile("[\ud800-\udfff]")


def harmless(text: str) -> str:
    r"""A text in which nothing steers the terminal: control characters and undecodable bytes as `\xNN` or `\uNNNN`."""
    return _UNSAFE.sub(_code, text) if _UNSAFE.search(text) else text


def valid(text: str) -> str:
    r"""A text that is valid UTF-8: undecodable bytes of a file name as `\xNN`. Control characters stay."""
    return _SURROGATE.sub(_code, text) if _SURROGATE.search(text) else text


def _code(match: re.Match[str]) -> str:
    number = ord(match[0])
    if 0xDC80 <= number <= 0xDCFF:
        # Python's stand-in for one undecodable byte.
        number -= 0xDC00
    return f"\\x{number:02x}" if number <= 0xFF else f"\\u{number:04x}"


def exposure(seconds: float | None) -> str:
    """`300 s`, `0.5 s`, `1/60 s`; `?` where unknown."""
    if seconds is None:
        return "?"
    if 0 < seconds < 0.4:
        inverse = 1 / seconds
        if abs(inverse - round(inverse)) <= 0.02 * inverse:
            return f"1/{round(inverse)} s"
        return f"{seconds:.3g} s"
    return f"{seconds:.6g} s"


def temperature(degrees_c: float | None) -> str:
    """`-10.0 C`; `?` where unknown."""
    return "?" if degrees_c is None else f"{degrees_c + 0.0:.1f} C".replace("-0.0 C", "0.0 C")


def spread(low_c: float | None, high_c: float | None) -> str:
    """`-10.0 C` or `-10.4 to -9.6 C`; `?` where unknown."""
    if low_c is None or high_c is None:
        return "?"
    low, high = temperature(low_c), temperature(high_c)
    return low if low == high else f"{low[:-2]} to {high}"


def signed(degrees: float) -> str:
    """A difference of temperatures in words: `0.4 C warmer`, `1.2 C colder`, `same temperature`."""
    if abs(degrees) < 0.05:
        return "same temperature"
    return f"{abs(degrees):.1f} C {'warmer' if degrees > 0 else 'colder'}"


def number(value: float | None) -> str:
    """At most six significant digits; `?` where unknown."""
    return "?" if value is None else f"{value:.6g}"


def percent(value: float | None) -> str:
    """`3.2%`; `?` where unknown."""
    if value is None:
        return "?"
    return f"{value:.0f}%" if abs(value) >= 100 else f"{value:.2g}%"


def some(count: int, one: str, many: str = "") -> str:
    """`1 frame`, `20 frames`."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def age(days: int | None) -> str:
    """`today`, `12 days`, `14 months`, `3 years`; `?` where unknown."""
    if days is None:
        return "?"
    if days == 0:
        return "same night"
    if days < 60:
        return some(days, "day")
    if days < 730:
        return some(round(days / 30.44), "month")
    return f"{days / 365.25:.1f} years"


def size(count: int) -> str:
    """Bytes as `24.1 MB`."""
    import humanize

    return str(humanize.naturalsize(count, format="%.1f"))


def minutes(value: float) -> str:
    """Minutes as `45 min`, `3 h 20 min`."""
    whole = max(1, round(value)) if value > 0 else 0
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"


def moment(at: datetime | None) -> str:
    """A moment as `2026-10-03 21:15:30Z`, in UTC; `?` where unknown."""
    return "?" if at is None else at.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%SZ")


def sentence(text: str) -> str:
    """A phrase as a sentence: first letter large, full stop at the end."""
    text = text.strip()
    if not text:
        return text
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?:" else ".")
