"""The hot pixels of stored frames: kept when a frame is looked at, fetched from `cache/`, made anew where they lack."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from darklib.jobs.library import Opened
from darklib.jobs.ports import Progress
from darklib.store import evidence

if TYPE_CHECKING:
    from darklib.pixels.hot import HotPixels
    from darklib.readers.answers import Look


def without_hot(opened: Opened, look: "Look", *, dry_run: bool) -> "Look":
    """Keeps the hot pixels of a frame that was looked at, and lets them go from memory."""
    if look.hot is None:
        return look
    if not dry_run and look.sha256:
        evidence.keep(opened.seam, opened.layout, look.sha256, look.hot)
    return replace(look, hot=None)


def fetched(opened: Opened, sha256s: Iterable[str]) -> Iterator[tuple[str, "HotPixels | None"]]:
    """The hot pixels of frames, one after the other; None where `cache/` has none that can be used."""
    from darklib.pixels.hot import decoded

    for sha256 in sha256s:
        data = evidence.kept(opened.seam, opened.layout, sha256)
        try:
            yield sha256, None if data is None else decoded(data)
        except ValueError:
            yield sha256, None


def made_anew(opened: Opened, paths: Mapping[str, str], progress: Progress) -> int:
    """Reads stored frames once to keep their hot pixels; how many could be. paths: absolute, by SHA-256."""
    from darklib.readers.guard import Guard

    wanted: Sequence[tuple[str, str]] = tuple(paths.items())
    if not wanted:
        return 0
    made = 0
    progress.start(len(wanted), None)
    with Guard() as guard:
        for (sha256, path), look in zip(wanted, guard.map([path for _, path in wanted]), strict=True):
            if look.hot is not None and look.sha256 == sha256:
                made += evidence.keep(opened.seam, opened.layout, sha256, look.hot)
            progress.advance(path, look.size)
    progress.finish()
    return made
