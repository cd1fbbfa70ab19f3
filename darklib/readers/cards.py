"""One header card, 80 bytes, as a value: FITS Standard 4.0, section 4, and what files hold that break it.

The bytes are read here and nowhere else; no library between, because one that mends a bad card hides that it was bad.
"""

import re
from dataclasses import dataclass

CARD = 80
Value = str | int | float | bool | None

_KEYWORD = re.compile(rb"[A-Z0-9_-]{1,8} *$")
_LOOSE = re.compile(rb"\s*([A-Za-z0-9_-]{1,8})\s*=(.*)$", re.DOTALL)
_PRINTABLE = bytes(range(32, 127))
_CONTROL = bytes((*range(32), 127))
_COMMENTARY = (b"COMMENT ", b"HISTORY ", b"        ", b"CONTINUE")
_INTEGER = re.compile(r"[+-]?\d+$")
_REAL = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([EeDd][+-]?\d+)?$")


@dataclass(frozen=True, slots=True)
class Card:
    """keyword in capitals, value, comment. text: the value as it stands there, quotes included.

    value None: the keyword is there, its value undefined. quoted: value is a string. odd: how the card breaks the
    standard and was understood all the same, or empty. fault: why the value cannot be understood, or empty; then value
    is the bare text.
    """

    keyword: str
    value: Value
    comment: str = ""
    text: str = ""
    quoted: bool = False
    odd: str = ""
    fault: str = ""


def keyword_of(raw: bytes) -> str:
    """The keyword of a card that has a value, in capitals; empty for commentary, blank cards and END.

    A HIERARCH card's keyword is what stands between HIERARCH and the equals sign, words parted by one blank.
    """
    if raw[:8] in _COMMENTARY:
        return ""
    if raw[8:10] == b"= ":
        if _KEYWORD.match(raw[:8]):
            return raw[:8].decode("ascii").rstrip()
    elif raw[:9] == b"HIERARCH ":
        name, equals, _ = raw[9:].partition(b"=")
        return " ".join(name.decode("latin-1").upper().split()) if equals else ""
    if b"=" not in raw[:10]:
        return ""
    loose = _LOOSE.match(raw)
    return loose.group(1).decode("ascii").upper() if loose else ""


def parse(raw: bytes) -> Card | None:
    """The card of 80 bytes, or of several with the CONTINUE cards that belong to it. None for one without a value."""
    keyword = keyword_of(raw)
    if not keyword:
        return None
    first, rest = raw[:CARD], raw[CARD:]
    odd = ""
    if first[8:10] == b"= ":
        body = first[10:]
        if not _KEYWORD.match(first[:8]):
            odd = "keyword not in capitals"
    elif first[:9] == b"HIERARCH ":
        body = first[9:].partition(b"=")[2]
    else:
        body = first.partition(b"=")[2]
        odd = "no blank after the equals sign"
    strange = body.translate(None, _PRINTABLE)
    if not strange:
        text = body.decode("ascii")
    elif strange.translate(None, _CONTROL) == strange:
        odd = odd or "characters outside the standard"
        text = _beyond_ascii(body)
    else:
        text = body.decode("latin-1").strip()
        return Card(keyword, text, "", text, fault="control characters in the card")
    bare = text.lstrip()
    if bare.startswith("'"):
        return _string(keyword, bare, rest, odd)
    value_text, _, comment = text.partition("/")
    return _plain(keyword, value_text.strip(), comment.strip(), odd)


def _plain(keyword: str, text: str, comment: str, odd: str) -> Card:
    value: Value
    if not text:
        value = None
    elif text in ("T", "F"):
        value = text == "T"
    elif _INTEGER.match(text):
        value = int(text)
    elif _REAL.match(text):
        value = float(text.replace("D", "E").replace("d", "e"))
    else:
        return Card(keyword, text, comment, text, odd=odd, fault="neither a number nor a string in quotes")
    return Card(keyword, value, comment, text, odd=odd)


def _string(keyword: str, bare: str, rest: bytes, odd: str) -> Card:
    value, comment, fault = _quoted(bare)
    text = bare.rstrip() if fault else "'" + value.replace("'", "''") + "'"
    while not fault and rest and value.rstrip(" ").endswith("&"):
        piece, rest = rest[:CARD], rest[CARD:]
        more, more_comment, fault = _quoted(_beyond_ascii(piece[8:]).lstrip())
        value = value.rstrip(" ")[:-1] + more
        comment = (comment + " " + more_comment).strip()
        text = "'" + value.replace("'", "''") + "'"
    # Leading blanks count, trailing ones do not; a string of blanks alone is the empty string (section 4.2.1).
    return Card(keyword, value.rstrip(" "), comment, text, quoted=True, odd=odd, fault=fault)


def _quoted(bare: str) -> tuple[str, str, str]:
    """The string that starts with the quote at the beginning of `bare`, the comment after it, and a fault or ''."""
    if not bare.startswith("'"):
        return bare.strip(), "", "no quote after CONTINUE"
    place = 1
    pieces = []
    while True:
        end = bare.find("'", place)
        if end < 0:
            return bare[1:].rstrip(), "", "the closing quote is missing"
        pieces.append(bare[place:end])
        if bare[end + 1 : end + 2] != "'":
            break
        pieces.append("'")
        place = end + 2
    after = bare[end + 1 :].strip()
    if after and not after.startswith("/"):
        return bare[1:].rstrip(), "", "text after the closing quote"
    return "".join(pieces), after[1:].strip(), ""


def _beyond_ascii(body: bytes) -> str:
    """Text of bytes the standard does not allow: as UTF-8 where it is that, else as Latin-1."""
    try:
        return body.decode("utf-8")
    except UnicodeDecodeError:
        return body.decode("latin-1")
