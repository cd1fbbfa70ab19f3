"""Everything read again: what rotted, what went, what nobody recorded, and whether a second copy is whole."""

import errno
import shutil
from collections.abc import Callable
from io import FileIO
from pathlib import Path

import pytest

from darklib.facts.errors import DarklibError
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened
from darklib.jobs.ports import Silent
from darklib.jobs.verify import verify
from darklib.scenario.trio import trio
from darklib.store import journal
from darklib.store.seam import Seam, StrPath


@pytest.fixture
def filled(opened: Opened, trio_card: Path) -> Opened:
    """Return a library with three frames and a file that was set aside."""
    (trio_card / "short.fits").write_bytes(b"SIMPLE  =                    T")
    assert ingest(opened, [str(trio_card)], workers=1).counts.stored == 3
    return opened


def _change(path: Path) -> None:
    data = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(data[:-1] + bytes([data[-1] ^ 1]))


def _set_aside(folder: Path) -> Path:
    (kept,) = folder.rglob("*short.fits")
    return kept


def test_an_intact_library(filled: Opened) -> None:
    result = verify(filled)
    assert (result.checked, result.intact, result.catalogue) == (4, 4, "ok")
    assert not result.needs_attention


def test_one_changed_bit_and_a_missing_file_are_named(filled: Opened) -> None:
    first, second, third = sorted(filled.layout.frames.rglob("*.fits"))
    _change(first)
    second.unlink()
    _change(_set_aside(filled.layout.set_aside))
    result = verify(filled)
    assert {finding.path for finding in result.differing} == {
        str(first),
        str(_set_aside(filled.layout.set_aside)),
    }
    assert [finding.path for finding in result.missing] == [str(second)]
    assert (result.checked, result.intact, result.needs_attention) == (4, 1, True)
    assert str(third) not in {finding.path for finding in (*result.differing, *result.missing)}


def test_where_all_frames_went_each_is_missing(filled: Opened, tmp_path: Path) -> None:
    filled.layout.frames.rename(tmp_path / "elsewhere")
    result = verify(filled)
    assert (len(result.missing), result.intact) == (3, 1)


def test_a_file_nobody_recorded(filled: Opened) -> None:
    stranger = filled.layout.frames / "stranger.fits"
    stranger.write_bytes(b"x")
    result = verify(filled)
    assert result.unknown_files == (str(stranger),)
    assert result.needs_attention


def test_a_damaged_and_a_torn_line_of_the_journal(filled: Opened) -> None:
    (path,) = journal.files(filled.seam, filled.layout.journal)
    whole = path.read_bytes()
    path.write_bytes(whole + b'{"schema":"darklib/journal/1","entry":{"do"')
    torn = verify(filled)
    assert not torn.needs_attention
    assert any("torn" in remark for remark in torn.remarks)
    path.write_bytes(whole.replace(b'"do":"stored"', b'"do":"stoned"', 1))
    damaged = verify(filled)
    assert [finding.code for finding in damaged.differing] == ["journal_damaged"]
    assert damaged.catalogue != "ok"


def test_a_second_copy_is_whole_or_names_what_lacks(filled: Opened, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(filled.root, copy)
    whole = verify(filled, against=str(copy))
    assert not whole.needs_attention
    # Three frames, what was set aside, one journal file and the configuration.
    assert whole.checked == whole.intact == 6
    frame = min(copy.joinpath("frames").rglob("*.fits"))
    _change(frame)
    _set_aside(copy / "set-aside").unlink()
    (journal_file,) = copy.joinpath("journal").iterdir()
    journal_file.unlink()
    result = verify(filled, against=str(copy))
    assert [finding.path for finding in result.differing] == [str(frame)]
    assert len(result.missing) == 2
    assert str(journal_file) in {finding.path for finding in result.missing}


def test_what_is_no_second_copy(filled: Opened, tmp_path: Path) -> None:
    for place in (tmp_path / "nowhere", filled.root):
        with pytest.raises(DarklibError, match=r"no folder|library itself"):
            verify(filled, against=str(place))


def test_a_sample_reads_some(filled: Opened) -> None:
    assert 1 <= verify(filled, sample=0.3).checked <= 4
    with pytest.raises(DarklibError, match="share above 0"):
        verify(filled, sample=0.0)


def test_what_is_strange_in_a_second_copy_and_what_no_copy_holds_are_named(
    filled: Opened, trio_card: Path, tmp_path: Path
) -> None:
    nas = tmp_path / "nas"
    nas.mkdir()
    (nas / "x.fits").write_bytes(trio(5)[0].make())
    ingest(filled, [str(nas)], in_place=True, workers=1)
    copy = tmp_path / "copy"
    shutil.copytree(filled.root, copy)
    strange = [copy / "frames" / "stranger.fits", copy / "set-aside" / "other.txt", copy / "journal" / "old.jsonl"]
    for path in strange:
        path.write_bytes(b"x")
    (copy / "frames" / ".hidden").write_bytes(b"a backup program's own")
    result = verify(filled, against=str(copy))
    assert sorted(result.unknown_files) == sorted(map(str, strange))
    assert result.needs_attention
    assert result.noted is True, "it lacks nothing"
    assert result.in_place == (str(nas / "x.fits"),)
    assert any(f"back up {nas}" in remark for remark in result.remarks)


def test_a_copy_that_lacks_something_is_not_noted(filled: Opened, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(filled.root, copy)
    min(copy.joinpath("frames").rglob("*.fits")).unlink()
    before = len(journal.files(filled.seam, filled.layout.journal))
    assert verify(filled, against=str(copy)).noted is False
    assert len(journal.files(filled.seam, filled.layout.journal)) == before


def test_verify_alone_changes_nothing(filled: Opened, snapshot: Callable[[Path], dict[str, bytes]]) -> None:
    before = {name: data for name, data in snapshot(filled.root).items() if not name.startswith("catalogue.sqlite-")}
    assert verify(filled).noted is None
    verify(filled, sample=0.5)
    after = {name: data for name, data in snapshot(filled.root).items() if not name.startswith("catalogue.sqlite-")}
    assert after == before


def test_a_check_that_cannot_be_noted_is_a_remark(
    filled: Opened, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(filled.root, copy)

    class Full(Seam):
        def create_exclusive(self, path: StrPath) -> FileIO:
            raise OSError(errno.ENOSPC, "No space left on device", path)

    filled.seam = Full()
    result = verify(filled, against=str(copy))
    assert result.noted is False
    assert any("could not be noted" in remark for remark in result.remarks)
    assert not result.needs_attention


def test_the_comparison_with_the_journal_tells_how_far_it_is(filled: Opened) -> None:
    class Counted(Silent):
        counts: list[list[int]] = []  # noqa: RUF012

        def start(self, total_files: int, total_bytes: int | None) -> None:
            self.counts.append([total_files, 0])

        def advance(self, path: str, size: int) -> None:
            self.counts[-1][1] += 1

    verify(filled, progress=Counted())
    assert Counted.counts == [[4, 4], [3, 3]]
