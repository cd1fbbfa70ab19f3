"""What people and programs read at the end of an ingest and in the state of the library: erasing, and a second copy."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pretend_results as pretend
import pytest
from any_result import any_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from published_schemas import complaints

from darklib.jobs.results import CheckResult, Finding, IngestResult, NotStored, SecondCopy, VerifyResult
from darklib.show import documents, ingest_screen, safety_screens, second_copy, stock_screens
from darklib.show.out import Out

ON = datetime(2026, 10, 5, 9, 0, tzinfo=UTC)
NEVER = SecondCopy(not_covered=7)
OLD = SecondCopy("/second/copy", ON, 12, 3)
WHOLE = SecondCopy("/second/copy", ON)
UNSAFE = CheckResult(
    3, 2, (), (NotStored("/cards/one/new.fits", "copy_differs", "The stored copy was changed."),), (), False
)


def drawn(screen: Any, *arguments: Any, verbose: bool = False) -> str:
    stream = io.StringIO()
    screen(Out(stream, 80, verbose=verbose), *arguments)
    text = stream.getvalue()
    assert max(map(len, text.splitlines())) <= 80
    return " ".join(text.split())


@pytest.mark.parametrize(
    ("known", "said", "whole"),
    [
        (NEVER, "One copy is not a backup: no second copy of this library has been checked yet.", False),
        (OLD, "12 frames have been added since the second copy in /second/copy was checked on 2026-10-05.", False),
        (OLD, "3 frames are catalogued in place, and in no copy of the library.", False),
        (replace(OLD, not_covered=1), "1 frame has been added since", False),
        (WHOLE, "The second copy in /second/copy held every stored frame when it was checked on 2026-10-05.", True),
    ],
)
def test_one_copy_is_not_a_backup(known: SecondCopy, said: str, whole: bool) -> None:
    assert said in second_copy.sentence(known)
    assert second_copy.covers_all(known) is whole
    assert said in drawn(stock_screens.status, replace(pretend.STATUS, second_copy=known))
    assert said in drawn(ingest_screen.ingest, pretend.INGEST, pretend.SAFE, known)


def test_the_end_of_an_ingest() -> None:
    plain = replace(pretend.INGEST, counts=replace(pretend.INGEST.counts, undecided=0), stored=())
    safe = drawn(ingest_screen.ingest, plain, pretend.SAFE, NEVER)
    assert "Every frame on it is stored and was read back in this run." in safe
    assert "darklib verify --against DIR" in safe
    unsafe = drawn(ingest_screen.ingest, plain, UNSAFE, WHOLE)
    assert "No: 1 file of 3 is not safely stored." in unsafe
    assert "/cards/one/new.fits" in unsafe
    assert "Every frame" not in unsafe
    unknown = drawn(ingest_screen.ingest, plain, None, WHOLE)
    assert "Not everything was read again in this run" in unknown
    assert "darklib check PATH" in unknown
    dry = drawn(ingest_screen.ingest, replace(plain, dry_run=True), None, None)
    assert "erased" not in dry
    assert "backup" not in dry


def test_frames_in_place_are_one_sentence() -> None:
    lying = tuple(NotStored(f"/nas/{number}.fits", "in_place", "It is left there.") for number in range(9))
    text = drawn(ingest_screen.ingest, pretend.INGEST, CheckResult(9, 0, (), lying, (), False), NEVER)
    assert "No: 9 files of 9 are not safely stored." in text
    assert "/nas/3.fits" not in text


def test_the_state_tells_of_damaged_lines_and_of_torn_ones_only_when_asked() -> None:
    damaged = Finding("/libraries/one/journal/a.jsonl", None, "journal_damaged", "A line is damaged. `darklib verify`.")
    torn = Finding("/libraries/one/journal/b.jsonl", None, "journal_torn", "The last line is torn.")
    status = replace(pretend.STATUS, journal=(damaged, torn))
    text = drawn(stock_screens.status, status)
    assert "a.jsonl" in text
    assert "darklib verify" in text
    assert "b.jsonl" not in text
    assert "b.jsonl" in drawn(stock_screens.status, status, verbose=True)


def test_what_is_noted_is_told() -> None:
    whole = VerifyResult(9, 9, (), (), (), "ok", "/second/copy", noted=True)
    assert "lacks nothing. That is noted in the journal" in drawn(safety_screens.verify, whole)
    assert "Nothing was noted" in drawn(safety_screens.verify, replace(whole, noted=False))
    strange = drawn(safety_screens.verify, replace(whole, unknown_files=("/second/copy/frames/x.fits",)))
    assert "Files that the library does not have" in strange
    assert "darklib rebuild" not in strange
    lacking = replace(whole, noted=False, missing=(Finding("/second/copy/x", None, "missing", "Not there."),))
    assert "lacks nothing" not in drawn(safety_screens.verify, lacking)


def test_check_shows_its_remarks() -> None:
    assert "In place: /nas." in drawn(safety_screens.check, replace(pretend.SAFE, remarks=("in place: /nas",)))


@settings(max_examples=5, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(any_of(IngestResult), st.none() | any_of(CheckResult), st.none() | any_of(SecondCopy))
def test_the_document_holds_both(result: IngestResult, check: CheckResult | None, known: SecondCopy | None) -> None:
    document = documents.ingest(result, Path("/libraries/one").absolute(), check, known)
    assert complaints(document) == []
    assert (document["check"] is None, document["second_copy"] is None) == (check is None, known is None)
    if check is not None:
        assert document["check"]["may_erase"] == check.may_erase
