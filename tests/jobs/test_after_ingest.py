"""What an ingest says at its end: may the card be erased, as `check` would answer, and is there a second copy."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from darklib.jobs import after_ingest as job
from darklib.jobs.after_ingest import after_ingest
from darklib.jobs.check import check
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened, open_library
from darklib.jobs.results import CheckResult, SecondCopy
from darklib.jobs.second_copy import second_copy
from darklib.jobs.verify import verify
from darklib.readers.open import look
from darklib.scenario.trio import trio
from darklib.store.seam import Seam

JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(200)


class Here:
    """Stands in for the worker processes."""

    def __init__(self, *_: object, **__: object) -> None:
        pass

    def __enter__(self) -> "Here":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def map(self, paths: list[str], ahead: int = 8) -> Iterator[Any]:
        yield from map(look, paths)


@pytest.fixture(autouse=True)
def in_this_process(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("darklib.jobs.intake.Guard", Here)


def asked(opened: Opened, card: Path, **how: bool) -> CheckResult:
    """The answer at the end of an ingest, which must be that of `check`."""
    result = ingest(opened, [str(card)], **how)
    answer = after_ingest(opened, result).check
    assert answer is not None
    if not how.get("move"):
        checked = check(opened, [str(card)])
        assert answer.may_erase == checked.may_erase
        assert (answer.checked, answer.stored) == (checked.checked, checked.stored)
        assert sorted(item.path for item in answer.not_stored) == sorted(item.path for item in checked.not_stored)
        assert sorted(item.path for item in answer.set_aside) == sorted(item.path for item in checked.set_aside)
    return answer


def test_a_card_that_was_taken_in_may_be_erased_at_once_and_again(opened: Opened, trio_card: Path) -> None:
    shutil.copy(next(trio_card.glob("dark*")), trio_card / "twice.fits")
    (trio_card / "notes.txt").write_text("x", "utf-8")
    for _ in range(2):
        answer = asked(opened, trio_card)
        assert (answer.checked, answer.stored, answer.may_erase) == (4, 4, True)
        assert [item.code for item in answer.passed_over] == ["not_an_image"]


def test_what_was_stored_in_this_run_is_not_read_once_more(opened: Opened, trio_card: Path) -> None:
    result = ingest(opened, [str(trio_card)])

    class Unread(Seam):
        def open_read(self, path: Any) -> Any:
            raise AssertionError(f"read again: {path}")

    opened.seam = Unread()
    answer = after_ingest(opened, result).check
    assert answer is not None
    assert answer.may_erase


def test_a_damaged_frame_on_the_card_and_a_rotten_copy_in_the_library_forbid_it(
    opened: Opened, trio_card: Path
) -> None:
    first = ingest(opened, [str(trio_card)]).stored[0]
    (trio_card / "short.fits").write_bytes(next(trio_card.glob("dark*")).read_bytes()[:5000])
    assert not asked(opened, trio_card).may_erase
    (trio_card / "short.fits").unlink()
    assert asked(opened, trio_card).may_erase
    rotten = Path(opened.absolute(first.path))
    rotten.chmod(0o644)
    rotten.write_bytes(rotten.read_bytes()[:-1] + b"x")
    answer = asked(opened, trio_card)
    assert [item.code for item in answer.not_stored] == ["copy_differs"]
    assert not answer.may_erase


def test_what_was_set_aside_before_counts_as_check_counts_it(opened: Opened, trio_card: Path) -> None:
    (trio_card / "preview.jpg").write_bytes(JPEG)
    assert asked(opened, trio_card).may_erase
    assert asked(opened, trio_card).may_erase, "known from the run before"
    (trio_card / "short.fits").write_bytes(next(trio_card.glob("dark*")).read_bytes()[:5000])
    for _ in range(2):
        answer = asked(opened, trio_card)
        assert not answer.may_erase
        assert sorted(item.code for item in answer.set_aside) == ["not_calibratable", "truncated"]
    (kept,) = opened.layout.set_aside.rglob("*preview.jpg")
    kept.chmod(0o644)
    kept.unlink()
    (trio_card / "short.fits").unlink()
    assert not asked(opened, trio_card).may_erase, "the kept copy is gone"


def test_frames_left_where_they_are_may_not_go(opened: Opened, trio_card: Path) -> None:
    for _ in range(2):
        answer = asked(opened, trio_card, in_place=True)
        assert not answer.may_erase
        assert [item.code for item in answer.not_stored] == ["in_place"] * 3


def test_frames_that_are_in_place_elsewhere_are_named(opened: Opened, trio_card: Path, tmp_path: Path) -> None:
    ingest(opened, [str(trio_card)], in_place=True)
    shutil.copytree(trio_card, tmp_path / "card2")
    answer = asked(opened, tmp_path / "card2")
    assert answer.may_erase
    assert len(answer.remarks) == 1
    assert f"3 frames are not in the library's own folders, but catalogued in place: {trio_card}" in answer.remarks[0]
    assert check(opened, [str(tmp_path / "card2")]).remarks == answer.remarks


def test_an_emptied_card(opened: Opened, trio_card: Path) -> None:
    answer = asked(opened, trio_card, move=True)
    assert answer.may_erase
    assert answer.stored == 3


def test_frames_that_would_take_long_to_read_again_are_left_to_check(
    opened: Opened, trio_card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ingest(opened, [str(trio_card)])
    result = ingest(opened, [str(trio_card)])
    monkeypatch.setattr(job, "READ_AT_MOST", 1000)
    after = after_ingest(opened, result)
    assert after.check is None
    assert after.second_copy is not None


def test_a_dry_run_says_nothing_of_it(opened: Opened, trio_card: Path) -> None:
    after = after_ingest(opened, ingest(opened, [str(trio_card)], dry_run=True))
    assert (after.check, after.second_copy) == (None, None)


def test_a_second_copy_counts_from_its_check_on_and_only_for_what_it_held(
    library: Path, trio_card: Path, tmp_path: Path
) -> None:
    with open_library(library) as opened:
        ingest(opened, [str(trio_card)])
        assert second_copy(opened) == SecondCopy(not_covered=3)
        copy = tmp_path / "second"
        shutil.copytree(library, copy)
        assert verify(opened, against=str(copy), dry_run=True).noted is False
        assert verify(opened, against=str(copy), sample=1.0).noted is False, "a sample, even of everything"
        assert second_copy(opened).checked_at is None
        assert verify(opened, against=str(copy)).noted is True
        known = second_copy(opened)
        assert (known.path, known.not_covered) == (str(copy), 0)
        # Its own line is in a journal file that the copy cannot have.
        again = verify(opened, against=str(copy))
        assert not again.needs_attention
        assert again.noted is True
    card = tmp_path / "card2"
    card.mkdir()
    (card / "d.fits").write_bytes(trio(7)[0].make())
    nas = tmp_path / "nas"
    nas.mkdir()
    (nas / "l.fits").write_bytes(trio(7)[2].make())
    with open_library(library) as opened:
        ingest(opened, [str(card)])
        ingest(opened, [str(nas)], in_place=True)
        known = second_copy(opened)
        assert (known.path, known.not_covered, known.in_place) == (str(copy), 1, 1)
        lacking = verify(opened, against=str(copy))
        assert lacking.noted is False
        assert lacking.in_place == (str(nas / "l.fits"),)
        assert second_copy(opened).not_covered == 1


def test_that_it_was_checked_outlives_a_rebuild(library: Path, trio_card: Path, tmp_path: Path) -> None:
    from darklib.jobs.rebuild import rebuild

    with open_library(library) as opened:
        ingest(opened, [str(trio_card)])
        shutil.copytree(library, tmp_path / "second")
        verify(opened, against=str(tmp_path / "second"))
        before = second_copy(opened)
    assert rebuild(library).differences == ()
    with open_library(library) as opened:
        assert second_copy(opened) == before
        assert before.checked_at is not None
