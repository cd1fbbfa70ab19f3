"""Everything read again: what rotted, what went, what nobody recorded, and whether a second copy is whole."""

import shutil
from pathlib import Path

import pytest

from darklib.facts.errors import DarklibError
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened
from darklib.jobs.verify import verify
from darklib.store import journal


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
