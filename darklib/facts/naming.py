"""Short names that are the same after a rebuild and on another machine: five letters made from what defines a thing."""

import hashlib
import re

LETTERS = "bcdfghjkmnpqrstvwxyz"
"""No vowels, so no words; no l, so nothing is read as a 1."""


def five_letters(text: str) -> str:
    """Five letters from a text: 20^5, 3.2 million different ones."""
    number = int.from_bytes(hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()[:8], "big")
    letters = []
    for _ in range(5):
        number, place = divmod(number, len(LETTERS))
        letters.append(LETTERS[place])
    return "".join(letters)


def slug(text: str, longest: int = 24) -> str:
    """A text as lower-case words joined by hyphens, for ids and folder names; 'unnamed' where nothing is left."""
    plain = re.sub(r"[^a-z0-9]+", "-", text.casefold()).strip("-")[:longest].strip("-")
    return plain or "unnamed"


def body_key(make: str | None, model: str | None, serial: str | None) -> str:
    """Canonical text of a body: equal keys are one camera."""
    return "|".join(" ".join((part or "").split()).casefold() for part in (make, model, serial))


def body_id(make: str | None, model: str | None, serial: str | None) -> str:
    """A body's id: its model as a slug and five letters."""
    return f"{slug(model or make or 'camera')}-{five_letters(body_key(make, model, serial))}"


def night_name(night: str | None, key: str) -> str:
    """A series' or batch's id: its night and five letters made from what defines it."""
    return f"{night or 'undated'}-{five_letters(key)}"
