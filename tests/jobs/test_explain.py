"""All that is known of one frame, of the library or looked at."""

from pathlib import Path

import pytest

from darklib.facts.errors import DarklibError
from darklib.facts.frame import Kind
from darklib.jobs.correct import amend, undo
from darklib.jobs.explain import explain
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened
from darklib.scenario.trio import trio

DARK = trio()[0].name


def test_a_file_that_was_not_taken_in(opened: Opened, trio_card: Path) -> None:
    result = explain(opened, str(trio_card / DARK))
    assert not result.stored
    assert result.frame is not None
    assert result.frame.kind is Kind.DARK
    assert not opened.catalogue.counts()["frames"]


def test_times_are_told_in_utc_with_z(opened: Opened, trio_card: Path) -> None:
    facts = {fact.name: fact for fact in explain(opened, str(trio_card / DARK)).facts}
    assert facts["taken_at"].value == "2026-09-06T21:00:00Z"
    assert facts["date_obs"].raw.strip("' ").startswith("2026-09-06T21:00:00")


def test_why_a_kind_is_so_follows_its_corrections(opened: Opened, trio_card: Path) -> None:
    ingest(opened, [str(trio_card)], workers=1)

    def told() -> tuple[str, ...]:
        result = explain(opened, str(trio_card / DARK))
        kind = [fact for fact in result.facts if fact.name == "kind"][-1]
        return (str(kind.value), kind.origin, kind.note, result.kind_why)

    before = told()
    assert before[:2] == ("dark", "header")
    amend(opened, [str(trio_card / DARK)], {"kind": "bias"})
    assert told() == ("bias", "user", "stated by the user", "stated by the user")
    undo(opened, [str(trio_card / DARK)])
    assert told() == before


def test_what_cannot_be_read_is_told_with_its_reason(opened: Opened, trio_card: Path) -> None:
    (trio_card / "short.fits").write_bytes((trio_card / DARK).read_bytes()[:5000])
    result = explain(opened, str(trio_card / "short.fits"))
    assert result.refusal is not None
    assert result.refusal.code == "truncated"


def test_what_means_nothing_or_many(opened: Opened, trio_card: Path) -> None:
    with pytest.raises(DarklibError, match="meant by"):
        explain(opened, "nothing")
    (trio_card / "second.fits").write_bytes(trio(7)[0].make())
    ingest(opened, [str(trio_card)], workers=1)
    dark = explain(opened, str(trio_card / DARK)).frame
    assert dark is not None
    assert dark.series is not None
    with pytest.raises(DarklibError, match="means 2 frames; one can be explained at a time"):
        explain(opened, dark.series)
