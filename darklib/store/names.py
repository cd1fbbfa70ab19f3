r"""Names that are safe on three systems, whatever text they are made from.

Undecodable bytes of a file name (Python keeps them as lone surrogates) are shown and stored as `\xNN` and `_xNN`.
"""

import re
import unicodedata

# 120 characters leave room for `-2`, a temporary name's `.<token>.part` and three bytes a character within 255.
LONGEST = 120
_LONGEST_BYTES = 200
_SURROGATE = re.compile("[\ud800-\udfff]")
# Suffixes of two parts, so that `-2` goes before both.
_PACKED = (".gz", ".fz", ".bz2", ".xz", ".zst", ".z")


def shown(text: str) -> str:
    r"""Text that is valid UTF-8: undecodable bytes as `\xNN`, any other lone surrogate as `\uNNNN`."""
    return _SURROGATE.sub(_visible, text)


def _visible(match: re.Match[str]) -> str:
    number = ord(match.group())
    return f"\\x{number - 0xDC00:02x}" if 0xDC80 <= number <= 0xDCFF else f"\\u{number:04x}"


def unshown(text: str) -> str:
    r"""The inverse of `shown` for names the system gave: `\xNN` from 80 on is an undecodable byte again."""
    return re.sub(r"\\x([89a-f][0-9a-f])", lambda match: chr(0xDC00 + int(match.group(1), 16)), text)


def folder_name(text: str, *, otherwise: str = "unnamed") -> str:
    """One safe name for a folder or file made from any text.

    Never empty, never `.` or `..`, no separators, no control characters, none of the names Windows keeps for
    itself, no trailing dot or blank, NFC, at most 120 characters and 200 bytes; applied twice it changes nothing.
    """
    from pathvalidate import sanitize_filename

    plain = unicodedata.normalize("NFC", shown(text).replace("\\", "_"))
    plain = "".join("_" if _unfit(char) else char for char in plain)
    for _ in range(
        8
    ):  # each pass may lay bare what the next must treat: a reserved name after a cut, a dot after a blank
        before = plain
        plain = _shortened(plain.strip(" .\u00a0"))
        plain = sanitize_filename(plain, replacement_text="_", platform="universal", max_len=_LONGEST_BYTES)
        if plain.split(".")[0].rstrip(" ").upper() in _RESERVED:
            plain = "_" + plain
        if plain == before:
            break
    return plain or otherwise


# Windows gives these to devices, with any suffix (Microsoft, "Naming Files, Paths, and Namespaces"; from memory).
_RESERVED = frozenset(
    ["CON", "PRN", "AUX", "NUL", "CLOCK$", "CONIN$", "CONOUT$"]
    + [f"{port}{digit}" for port in ("COM", "LPT") for digit in "0123456789\u00b9\u00b2\u00b3"]
)


def _unfit(char: str) -> bool:
    # Cc control, Cf invisible and direction marks (a name must look like what it is), Cs lone surrogates,
    # Zl and Zp line breaks; and what Windows, FAT or a shell take for something else.
    return unicodedata.category(char) in ("Cc", "Cf", "Cs", "Zl", "Zp", "Cn", "Co") or char in '/:*?"<>|\t\n'


def _shortened(text: str) -> str:
    """At most LONGEST characters and _LONGEST_BYTES bytes; a short suffix is kept."""
    if len(text) <= LONGEST and len(text.encode("utf-8")) <= _LONGEST_BYTES:
        return text
    stem, suffix = split_suffix(text)
    if len(suffix.encode("utf-8")) > 20:
        stem, suffix = text, ""
    while stem and (len(stem) + len(suffix) > LONGEST or len((stem + suffix).encode("utf-8")) > _LONGEST_BYTES):
        stem = stem[:-1]
    return stem.rstrip(" .") + suffix


def split_suffix(name: str) -> tuple[str, str]:
    """Stem and suffix; `.fits.gz` and the like count as one suffix."""
    stem, dot, last = name.rpartition(".")
    if not dot or not stem.strip("."):
        return name, ""
    if f".{last}".lower() in _PACKED:
        inner, dot2, middle = stem.rpartition(".")
        if dot2 and inner.strip(".") and len(middle) <= 5:
            return inner, f".{middle}.{last}"
    return stem, f".{last}"


def numbered(name: str, number: int) -> str:
    """The name itself for 1, else with `-2`, `-3` before its suffix."""
    if number < 2:
        return name
    stem, suffix = split_suffix(name)
    return f"{stem}-{number}{suffix}"


def alike(name: str) -> str:
    """Equal for names that some systems take for one: they differ in case, or in how a letter with its accent is put
    together.
    """
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def stored_name(parent: str, name: str) -> str:
    """The name a frame is stored under: its parent folder and its own name, as `100XXXXX_IMG_0001.DNG`.

    Two cards both hold IMG_0001; the parent tells them apart for people (the hash does for the catalogue).
    """
    return folder_name(f"{parent}_{name}" if parent else name)
