"""The page to take along, the picture, and what following tells."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime
from html.parser import HTMLParser

import pretend_results as pretend
import pytest
from any_result import any_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from published_schemas import one_document

from darklib.facts.plan import Cell, Coverage
from darklib.jobs.follow import Event
from darklib.planning.cautions import MANUAL
from darklib.planning.following import so_far
from darklib.show import documents, served_screen
from darklib.show.gaps_page import page
from darklib.show.out import Out

LIMITED = settings(max_examples=8, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
RESULT = replace(pretend.GAPS, cautions=("Mind the dew.", MANUAL))
VOID = {"meta", "br"}


class Nesting(HTMLParser):
    """Sees that every element is closed in order, as the HTML standard has it for these elements."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.seen.append(tag)
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_manuals_come_first_and_every_frame_has_a_box() -> None:
    assert RESULT.plan is not None
    text = page(RESULT, "text")
    assert text.index(MANUAL[:40]) < text.index("Mind the dew.")
    steps, frames = len(RESULT.plan.steps), sum(step.frames for step in RESULT.plan.steps)
    assert text.count("[ ]") == steps + frames
    assert page(RESULT, "html").count("&#9744;") == steps + frames
    assert max(len(line) for line in text.splitlines()) <= 78


@LIMITED
@given(result=any_of(type(pretend.GAPS)))
def test_names_out_of_files_are_harmless_on_a_page(result: object) -> None:
    few = replace(
        result,  # type: ignore[type-var]
        plan=replace(result.plan, steps=tuple(replace(step, frames=3) for step in result.plan.steps))  # type: ignore[attr-defined]
        if result.plan is not None  # type: ignore[attr-defined]
        else None,
    )
    nesting = Nesting()
    nesting.feed(page(few, "html"))
    assert nesting.open == []
    assert "script" not in nesting.seen
    rows = list(csv.reader(io.StringIO(page(few, "csv"), newline="")))
    assert {len(row) for row in rows} == {len(rows[0])}
    assert not any(cell[:1] in ("=", "@") for row in rows for cell in row)
    assert not any(ord(letter) < 32 and letter != "\n" for letter in page(few, "text"))


@LIMITED
@given(frames=st.integers(0, 3))
def test_what_following_tells_is_as_its_schema_says(frames: int) -> None:
    assert RESULT.plan is not None
    now = so_far(RESULT.plan.steps, pretend.LIGHTS[:frames])
    event = Event(datetime(2026, 10, 3, 20, tzinfo=UTC), "began", "Step 1.", now)
    document = one_document(documents.as_json(documents.gaps_follow(event)) + "\n")
    assert document["schema"] == "darklib/gaps-follow/1"
    assert document["now"] == 1
    assert sum(document["not_counted"].values()) == frames


PICTURE = Coverage(
    RESULT.gaps[0].body,
    RESULT.gaps[0].readout,
    (Cell(-10, 300.0, 20, 34, 10200.0, 0), Cell(-5, 300.0, 0, 8, 2400.0, 12), Cell(-5, 60.0, 5, 0, 0.0, 0)),
    2,
)


@pytest.mark.parametrize("width", [30, 80, None])
def test_the_picture_in_letters(width: int | None) -> None:
    stream = io.StringIO()
    served_screen.coverage(Out(stream, width), PICTURE)
    shown = stream.getvalue()
    for cell in ("20 (34)", "- (8) +12", "-5 C", "-10 C", "300 s", "60 s"):
        assert cell in shown
    assert "2 frames of unknown" in " ".join(shown.split())


@pytest.mark.parametrize(("form", "begins"), [("png", b"\x89PNG\r\n\x1a\n"), ("svg", b"<?xml")])
def test_the_picture_as_a_file(form: str, begins: bytes) -> None:
    """The signature of PNG (ISO/IEC 15948, section 5.2) and of an XML document; the same figures make the same file."""
    from darklib.show.gaps_picture import picture

    made = picture([PICTURE], form)
    assert made.startswith(begins)
    assert made == picture([PICTURE], form)
    assert picture([], form).startswith(begins)
