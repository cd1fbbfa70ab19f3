"""What the state of the library says of its journal and of a second copy."""

from pathlib import Path

from darklib.jobs.ingest import ingest
from darklib.jobs.library import open_library
from darklib.jobs.overview import status


def _filled(library: Path, card: Path) -> Path:
    with open_library(library) as opened:
        ingest(opened, [str(card)], workers=1)
    (path,) = (library / "journal").iterdir()
    return path


def test_a_damaged_line_of_the_journal_is_shown_with_what_to_do(library: Path, trio_card: Path) -> None:
    path = _filled(library, trio_card)
    with path.open("ab") as file:
        file.write(b'{"schema":"darklib/journal/1","entry":{"do":"stoned"},"crc32":1}\n')
    with open_library(library) as opened:
        (finding,) = status(opened).journal
    assert (finding.path, finding.code) == (str(path), "journal_damaged")
    assert "darklib verify" in finding.text


def test_a_torn_line_is_told_apart(library: Path, trio_card: Path) -> None:
    path = _filled(library, trio_card)
    with path.open("ab") as file:
        file.write(b'{"schema":"darklib/journal/1","entry":{"do"')
    with open_library(library) as opened:
        (finding,) = status(opened).journal
    assert finding.code == "journal_torn"


def test_a_journal_in_order_is_not_spoken_of(library: Path, trio_card: Path) -> None:
    _filled(library, trio_card)
    with open_library(library) as opened:
        result = status(opened)
    assert result.journal == ()
    assert (result.second_copy.path, result.second_copy.not_covered) == (None, 3)
