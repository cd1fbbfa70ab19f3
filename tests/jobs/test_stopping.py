"""Runs that do not come to their end: Ctrl-C, a card of which a part cannot be read, readers that fall."""

import signal
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened, open_library
from darklib.jobs.ports import Silent
from darklib.readers.answers import Look, Refusal
from darklib.readers.guard import Guard
from darklib.scenario.nights import scrambled
from darklib.scenario.trio import trio
from darklib.store.seam import Entry, Seam, StrPath


class _CtrlC(Silent):
    """Ctrl-C after so many files."""

    def __init__(self, after: int) -> None:
        self.left = after

    def advance(self, path: str, size: int) -> None:
        self.left -= 1
        if self.left == 0:
            signal.raise_signal(signal.SIGINT)


def test_half_a_card_is_no_context(opened: Opened, tmp_path: Path) -> None:
    """Frames that only the whole card could settle are not stored undecided: the next run sees them all."""
    card = tmp_path / "card"
    card.mkdir()
    files = [file for file in scrambled(scale=0.1) if file.path.endswith(".dng")][:6]
    for number, file in enumerate(files):
        (card / f"{number}.dng").write_bytes(file.make())
    with pytest.raises(KeyboardInterrupt):
        ingest(opened, [str(card)], progress=_CtrlC(3), workers=1)
    assert opened.catalogue.counts()["frames"] == 0
    assert ingest(opened, [str(card)], workers=1).counts.stored == len(files)


def test_what_was_settled_before_is_stored(opened: Opened, tmp_path: Path) -> None:
    card = tmp_path / "card"
    for number in range(4):
        (card / str(number)).mkdir(parents=True)
        (card / str(number) / "dark.fits").write_bytes(trio(number)[0].make())
    with pytest.raises(KeyboardInterrupt):
        ingest(opened, [str(card)], progress=_CtrlC(2), workers=1)
    assert opened.catalogue.counts()["frames"] == 2
    result = ingest(opened, [str(card)], workers=1)
    assert (result.counts.stored, result.counts.duplicates) == (2, 2)


class _Locked(Seam):
    """One folder of the card cannot be opened."""

    def scandir(self, path: StrPath) -> list[Entry]:
        if str(path).endswith("locked"):
            raise PermissionError(13, "Permission denied", str(path))
        return super().scandir(path)


def test_a_folder_that_cannot_be_read_needs_attention(library: Path, trio_card: Path) -> None:
    """Nobody knows what lies in it, so the card is not done."""
    (trio_card / "locked").mkdir()
    with open_library(library, seam=_Locked()) as opened:
        result = ingest(opened, [str(trio_card)], workers=1)
    counts = result.counts
    assert [(item.path, item.code) for item in result.set_aside] == [(str(trio_card / "locked"), "folder_unreadable")]
    assert (counts.stored, counts.set_aside, result.needs_attention) == (3, 1, True)
    assert counts.seen == counts.stored + counts.duplicates + counts.set_aside + counts.passed_over


class _Fallen(Guard):
    """Every reader falls: what the guard then answers."""

    def map(self, paths: Iterable[str], ahead: int = 8) -> Iterator[Look]:
        for path in paths:
            yield Look(path, "", 1, datetime(2026, 10, 3, tzinfo=UTC), refusal=Refusal("reading_crashed", "it fell"))


def test_a_file_that_takes_its_reader_down_is_kept_and_known(
    opened: Opened, trio_card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And so is a frame of the library, should its reader fall the next time."""
    first, *_, last = sorted(trio_card.iterdir())
    ingest(opened, [str(first)], workers=1)
    monkeypatch.setattr("darklib.jobs.intake.Guard", _Fallen)
    result = ingest(opened, [str(first), str(last)], workers=1)
    assert (result.counts.duplicates, result.counts.set_aside) == (1, 1)
    (row,) = opened.catalogue.set_aside()
    assert row.code == "reading_crashed"
    assert Path(opened.absolute(row.kept_path)).read_bytes() == last.read_bytes()
    again = ingest(opened, [str(last)], workers=1)
    assert [item.code for item in again.passed_over] == ["known_set_aside"]
