"""The journal's entries are what they were after a trip through JSON."""

import json
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from darklib.facts.entries import NAMES, RunStarted, Seen, Stated, Stored, Unstated, decode, encode
from darklib.facts.errors import DarklibError
from darklib.facts.frame import (
    Combined,
    Fact,
    FrameFacts,
    FrameRecord,
    FrameWarning,
    Ignored,
    Kind,
    KindDecision,
    KindFrom,
    PixelFacts,
    PlaneLevel,
    Statement,
)
from darklib.facts.train import TrainFacts

AT = datetime(2026, 10, 3, 21, 15, 30, 125000, tzinfo=UTC)
TEXTS = st.text(max_size=20)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)


@st.composite
def records(draw: st.DrawFn) -> FrameRecord:
    facts = FrameFacts(
        format=draw(st.sampled_from(["fits", "dng"])),
        kind=draw(st.none() | st.sampled_from(Kind)),
        model=draw(st.none() | TEXTS),
        exposure_s=draw(st.none() | NUMBERS),
        iso=draw(st.none() | st.integers(0, 10**6)),
        binning=draw(st.tuples(st.integers(1, 4), st.integers(1, 4))),
        train=TrainFacts(draw(st.none() | TEXTS), draw(st.none() | NUMBERS)),
        taken_at=draw(st.none() | st.just(AT) | st.just(AT.replace(tzinfo=None))),
        combined=draw(st.none() | st.just(Combined(20, "mean", True, None))),
        facts=(Fact("exposure_s", 300.0, "s", "header", "EXPTIME", "300.0"),),
        ignored=(Ignored("NOTE", draw(TEXTS), "not understood"),),
        warnings=(FrameWarning("saturated", "text", {"share": 0.25}),),
    )
    measured = PixelFacts(
        1, 96, 64, 100.5, 4.0, 101.25, 5.5, 3.0, 65535.0, 0.001, 4, 0,
        (PlaneLevel("R", 1.0, 2.0, 3.0, 4.0),), {"noise_dn": draw(NUMBERS)},
    )  # fmt: skip
    decision = KindDecision(Kind.DARK, KindFrom.PATH, 0.9, "a folder called darks")
    return FrameRecord(
        "ab" * 32, 1234, draw(TEXTS), draw(st.booleans()), facts, draw(st.none() | st.just(measured)), decision,
        "Etc/UTC", draw(TEXTS), AT,
    )  # fmt: skip


@given(records(), st.lists(st.builds(Statement, st.just("temperature_c"), st.none() | NUMBERS), max_size=3))
def test_a_stored_frame_survives_the_journal(record: FrameRecord, statements: list[Statement]) -> None:
    entry = Stored(record, tuple(statements))
    assert decode(json.loads(json.dumps(encode(entry)))) == entry


@pytest.mark.parametrize(
    "entry",
    [
        RunStarted("r", "ingest", ("a", "b"), AT, "0.1.0", "host"),
        Seen("ab" * 32, "/card/x.fits", AT),
        Stated("n1", ("ab" * 32,), "kind", "dark", "", AT),
        Stated("n2", ("ab" * 32,), "temperature_c", -10.0, "read wrongly", AT),
        Stated("n3", ("ab" * 32,), "train", None, "", AT),
    ],
)
def test_entries_survive_the_journal(entry: RunStarted | Seen | Stated) -> None:
    assert decode(json.loads(json.dumps(encode(entry)))) == entry


def test_every_entry_has_one_name() -> None:
    assert len(set(NAMES.values())) == len(NAMES)


def test_an_entry_of_a_newer_version_is_refused_by_name() -> None:
    with pytest.raises(DarklibError, match="'teleported'") as caught:
        decode({"do": "teleported"})
    assert "newer version" in caught.value.remedy


def test_a_field_of_a_newer_version_is_left_aside() -> None:
    entry = Seen("ab" * 32, "/card/x.fits", AT)
    assert decode({**encode(entry), "colour": "red"}) == entry


def test_an_undoing_of_an_older_journal_names_no_frames() -> None:
    """A line as it was written before frames were named in it: it concerns all frames of the correction."""
    line = {"do": "unstated", "statement": "s1", "at": "2026-10-03T21:00:00Z"}
    assert decode(line) == Unstated("s1", datetime(2026, 10, 3, 21, tzinfo=UTC), ())
