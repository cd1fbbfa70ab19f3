"""The frames, bodies and trains that a user means: a beginning of an id, a path, a series or batch, a label."""

import re
from collections.abc import Iterable, Sequence
from typing import TypeVar

from darklib.facts.errors import DarklibError
from darklib.jobs.library import Opened
from darklib.matching.sets import sets_of_series
from darklib.store.names import shown

T = TypeVar("T")
_PART = re.compile(r"((?:\d{4}-\d\d-\d\d|undated)-[a-z]{5})-[0-9a-z.-]+\Z")


def frames_meant(opened: Opened, ids: Iterable[str]) -> list[str]:
    """SHA-256s of the frames meant by some texts, each once, in the order given.

    Raises DarklibError 'not_found' or 'ambiguous'; then nothing is meant at all, so that no command does half its work.
    """
    meant: dict[str, None] = {}
    for text in ids:
        for sha256 in _one(opened, text):
            meant[sha256] = None
    if not meant:
        raise DarklibError("not_found", "No frame was named.", remedy="Name frames by id, path, series or batch.")
    return list(meant)


def _one(opened: Opened, text: str) -> Sequence[str]:
    found = opened.catalogue.find(text)
    if not found:
        absolute = opened.seam.absolute(text)
        found = opened.catalogue.find(shown(str(absolute))) or opened.catalogue.find(opened.layout.relative(absolute))
    if not found:
        found = _members(opened, text)
    if not found:
        raise DarklibError(
            "not_found",
            f"No frame, series, batch or set in this library is meant by {shown(text)!r}.",
            path=shown(text),
            remedy="Give 4 characters or more of an id that `darklib frames` lists, a path, a series, batch or set.",
        )
    return found


def _members(opened: Opened, text: str) -> list[str]:
    """The frames of a set that is a part of a series, named as `darklib sets` and `darklib match` name it."""
    named = _PART.match(text.casefold())
    if named is None:
        return []
    frames = opened.catalogue.frames_by_id(opened.catalogue.find(named[1]))
    # As listed, without retired frames; else with them, so that a set that was retired can be restored.
    for members in ([frame for frame in frames if not frame.retired], frames):
        for one in sets_of_series(named[1], members, opened.settings) if members else ():
            if one.id == named[0]:
                return [frame.sha256 for frame in one.frames]
    return []


def one_meant(kind: str, text: str, items: Sequence[T], names: Sequence[Sequence[str]]) -> T:
    """The one item that a text means: the same as one of its names, else the beginning of one (without case).

    kind: the word for what is looked for. names: for each item, the texts it may be called by.
    Raises DarklibError 'not_found', naming what there is, or 'ambiguous', naming the candidates.
    """
    wanted = text.strip().casefold()
    exact = [item for item, own in zip(items, names, strict=True) if wanted in (name.casefold() for name in own)]
    close = exact or [
        item
        for item, own in zip(items, names, strict=True)
        if wanted and any(name.casefold().startswith(wanted) for name in own)
    ]
    if len(close) == 1:
        return close[0]
    known = [own[0] for own in names]
    if not close:
        raise DarklibError(
            "not_found",
            f"There is no {kind} called {shown(text)!r}.",
            remedy=f"Known: {', '.join(known[:12])}." if known else f"The library knows no {kind} yet.",
        )
    candidates = [own[0] for item, own in zip(items, names, strict=True) if item in close]
    raise DarklibError(
        "ambiguous",
        f"{shown(text)!r} could mean more than one {kind}: {', '.join(candidates)}.",
        remedy="Write more of the name.",
    )
