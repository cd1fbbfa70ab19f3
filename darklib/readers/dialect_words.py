"""What headers call the kinds of frames."""

import re

from darklib.facts.frame import Kind

_SPELLINGS: dict[Kind, str] = {
    # SBFITSEXT 1.0: 'Light Frame', 'Bias Frame', 'Dark Frame', 'Flat Field'. IRAF's ccdred: object, zero, dark, flat.
    Kind.LIGHT: "light|light frame|lights|object|science|sci|target|sky object|master light|stacked light|sky",
    # A dark flat is a dark that matches flats: a role, not a kind.
    Kind.DARK: "dark|dark frame|darks|master dark|dark flat|darkflat|flat dark|flatdark|dark for flat|master dark flat",
    Kind.BIAS: "bias|bias frame|biases|zero|zero frame|offset|offset frame|master bias|master offset|bias zero",
    Kind.FLAT: (
        "flat|flat field|flatfield|flat frame|flats|sky flat|skyflat|dome flat|domeflat|twilight flat|twiflat|twilight|"
        "lamp flat|dflat|sflat|panel flat|master flat|flat sky|flat dome|flat lamp|sky flat field|flat lamp field"
    ),
}
KIND_WORDS: dict[str, Kind] = {word: kind for kind, words in _SPELLINGS.items() for word in words.split("|")}
MASTER = re.compile(r"\b(master|stacked|super)|^superbias")

_JOINED_MASTER = re.compile(r"^(master|super|integrated|stacked)\s*(?=[a-z])")


def plain_words(text: str) -> str:
    """Small letters, words parted by one blank: 'Master_Dark', 'MASTERDARK' and 'master dark' are one."""
    words = re.sub(r"[\W_]+", " ", text.casefold()).strip()
    words = _JOINED_MASTER.sub("master ", words)
    return re.sub(r" (frame|image|exposure)s?$", "", words) if words not in KIND_WORDS else words
