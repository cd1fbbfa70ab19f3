"""The kind of a frame from whole words in the names of its folders and its file, in English as commonly written.

Nearest wins: the file's own name, then its folder, then the folder above. A target's name never counts, nor
do phrases that hold such a word by accident ("dark sky", "light pollution"). A name that says two things says nothing,
and then no name further off is asked either.
"""

import re
from collections.abc import Iterable, Sequence

from darklib.facts.frame import Kind

_SINGULAR: dict[str, Kind] = {
    "dark": Kind.DARK,
    "bias": Kind.BIAS,
    "zero": Kind.BIAS,
    "flat": Kind.FLAT,
    "light": Kind.LIGHT,
    "darkframe": Kind.DARK,
    "biasframe": Kind.BIAS,
    "flatframe": Kind.FLAT,
    "lightframe": Kind.LIGHT,
    "flatfield": Kind.FLAT,
    "skyflat": Kind.FLAT,
    "domeflat": Kind.FLAT,
    "panelflat": Kind.FLAT,
    "twilightflat": Kind.FLAT,
    # a dark flat is a dark that matches flats
    "flatdark": Kind.DARK,
    "darkflat": Kind.DARK,
    "biasoffset": Kind.BIAS,
    "offsetbias": Kind.BIAS,
}
_PLURAL: dict[str, Kind] = {
    **{word + "s": kind for word, kind in _SINGULAR.items() if word not in ("bias", "zero")},
    "biases": Kind.BIAS,
    "zeros": Kind.BIAS,
    "zeroes": Kind.BIAS,
}
_BEFORE = ("master", "super")
"""Written in one word with a kind: a combination of many frames keeps the kind."""

_PHRASES: tuple[tuple[str, ...], ...] = tuple(
    tuple(phrase.split())
    for phrase in (
        *(f"dark {word}" for word in ("sky", "skies", "site", "sites", "nebula", "nebulae", "cloud", "clouds")),
        *(f"dark {word}" for word in ("shark", "horse", "wolf", "river", "tower", "matter", "globule", "globules")),
        *(f"dark {word}" for word in ("lane", "lanes", "side", "park", "reserve", "adaptation", "age", "energy")),
        *(f"light {word}" for word in ("pollution", "dome", "domes", "echo", "echoes", "year", "years", "curve")),
        *(f"light {word}" for word in ("curves", "leak", "leaks", "trap", "panel", "box", "painting", "bucket")),
        *(f"{word} light" for word in ("first", "moon", "zodiacal", "north", "northern", "starlight", "last")),
        *(f"{word} lights" for word in ("northern", "southern", "polar", "city")),
        "zero gravity",
    )
)

_TOKEN = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[A-Z]+|\d+|[^\W\d_]+")


def kind_from_words(parts: Sequence[str], file_name: str, target: str | None) -> tuple[Kind, str] | None:
    """The kind that the nearest speaking name gives, and that name; None where no name speaks clearly.

    parts: the folders below the ingested one, outermost first; file_name: with its ending. target: what the header says
    the telescope was pointed at.
    """
    return kind_from_names(parts, file_name, () if target is None else (target,))


def kind_from_names(parts: Sequence[str], file_name: str, targets: Iterable[str]) -> tuple[Kind, str] | None:
    """As `kind_from_words`, with all the targets of the ingested folder: a folder named after one is no kind."""
    named = _real_targets(targets)
    stem = re.sub(r"(\.[A-Za-z][A-Za-z0-9]{0,4}){1,2}$", "", file_name)
    for name in (stem, *reversed(parts)):
        found = _kinds_in(words_of(name), named)
        if len(found) > 1:
            return None
        if found:
            return found.pop(), name
    return None


def is_target(text: str) -> bool:
    """Whether what the header calls the object is the name of something in the sky, and not "Dark" or "Flat"."""
    return bool(_real_targets((text,)))


def words_of(name: str) -> list[str]:
    """A name's words in small letters: parted at what is no letter, at changes of case and at digits; numbers stay."""
    return [token.casefold() for token in _TOKEN.findall(name)]


def _kind_of(word: str) -> tuple[Kind, bool] | None:
    for before in _BEFORE:
        if word.startswith(before) and len(word) > len(before):
            word = word[len(before) :]
    if word in _SINGULAR:
        return _SINGULAR[word], False
    if word in _PLURAL:
        return _PLURAL[word], True
    return None


def _real_targets(targets: Iterable[str]) -> list[list[str]]:
    # Capture programs write "Dark" or "Flat" as the object of such frames: that is no target's name.
    out = []
    for target in targets:
        words = words_of(target)
        letters = [word for word in words if not word.isdigit()]
        if letters and not all(_kind_of(word) or word in ("frame", "frames", "field", "s", "sec") for word in letters):
            out.append(words)
    return out


def _kinds_in(words: list[str], targets: list[list[str]]) -> set[Kind]:
    for phrase in (*targets, *_PHRASES):
        words = _without(words, list(phrase))
    found: set[Kind] = set()
    place = 0
    while place < len(words):
        here = _kind_of(words[place])
        after = _kind_of(words[place + 1]) if place + 1 < len(words) else None
        if here and after and {here[0], after[0]} == {Kind.DARK, Kind.FLAT} and not (here[1] and after[1]):
            found.add(Kind.DARK)
            place += 2
            continue
        if here:
            found.add(here[0])
        elif _is_offset(words, place):
            found.add(Kind.BIAS)
        place += 1
    return found


def _is_offset(words: list[str], place: int) -> bool:
    # "gain100_offset50" names a setting; "offset_0001" and "offsets" name frames
    if words[place] == "offsets":
        return True
    if words[place] != "offset" or place != 0:
        return False
    return len(words) == 1 or not words[1].isdigit() or len(words[1]) >= 4


def _without(words: list[str], phrase: list[str]) -> list[str]:
    length = len(phrase)
    place = 0
    while place + length <= len(words):
        if words[place : place + length] == phrase:
            # a mark stands in its place, so that its neighbours do not become adjacent
            words = [*words[:place], "", *words[place + length :]]
        place += 1
    return words
