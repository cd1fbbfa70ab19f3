"""What a text means: a beginning of an id, a series, a stored path or a source path; and when it means two things."""

import pytest
from catalogue_material import NOW, applied, sha_of, stored

from darklib.catalogue.catalogue import Catalogue
from darklib.facts import entries as e
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Kind

A = sha_of("a")


@pytest.fixture
def some(catalogue: Catalogue) -> Catalogue:
    applied(catalogue, [stored("a"), stored("b"), stored("c", Kind.LIGHT), e.Seen(A, "/other/a copy.fits", NOW)])
    return catalogue


@pytest.mark.parametrize(
    "text", [A, A[:16], A[:4], A[:20], A[:16].upper(), "frames/a.fits", "/card/a.fits", "/other/a copy.fits"]
)
def test_one_frame(some: Catalogue, text: str) -> None:
    assert some.find(text) == [A]


@pytest.mark.parametrize(
    "text", [A[:3], "", "zzzz", "frames/none.fits", A[:16] + "0" * 48, "frames", "%", "2026-10-03"]
)
def test_nothing(some: Catalogue, text: str) -> None:
    assert some.find(text) == []


def test_a_series_is_all_its_frames(some: Catalogue) -> None:
    series = some.frames_by_id([A])[0].series
    assert series is not None
    assert set(some.find(series)) == set(some.find(series[:-2])) == {A, sha_of("b")}
    (found,) = some.candidates(series)
    assert (found.what, found.name, found.by) == ("series", series, "series")


def test_two_frames_with_one_beginning_are_both_named(catalogue: Catalogue) -> None:
    # Names whose contents' hashes begin alike.
    by_start: dict[str, int] = {}
    number = 0
    while sha_of(number)[:4] not in by_start:
        by_start[sha_of(number)[:4]] = number
        number += 1
    first, second = sorted((sha_of(by_start[sha_of(number)[:4]]), sha_of(number)))
    applied(catalogue, [stored(by_start[sha_of(number)[:4]]), stored(number)])
    with pytest.raises(DarklibError, match=f"frame {first[:16]}, frame {second[:16]}") as caught:
        catalogue.find(first[:4])
    assert (caught.value.code, bool(caught.value.remedy)) == ("ambiguous", True)
    assert [(one.name, one.by) for one in catalogue.candidates(first[:4])] == [(first[:16], "id"), (second[:16], "id")]
    assert catalogue.find(first[:16]) == [first]


def test_two_series_with_one_beginning_are_both_named(catalogue: Catalogue) -> None:
    # Of 21 series two begin with the same of 20 letters.
    applied(catalogue, [stored(number, exposure_s=1.1**number) for number in range(21)])
    starts = [series.id[:12] for series in catalogue.series()]
    twice = next(start for start in starts if starts.count(start) > 1)
    with pytest.raises(DarklibError, match=r"series 2026-10-03-\w{5}, series 2026-10-03-\w{5}") as caught:
        catalogue.find(twice)
    assert caught.value.text.count(twice) > starts.count(twice)


def test_a_source_path_on_which_two_cards_had_different_frames_is_ambiguous(catalogue: Catalogue) -> None:
    both = [stored(name, source_path="/card/IMG_0001.CR2") for name in "ab"]
    applied(catalogue, both)
    with pytest.raises(DarklibError, match="may mean"):
        catalogue.find("/card/IMG_0001.CR2")


def test_a_stored_path_outranks_a_source_path(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", path="/p/x.fits", in_place=True), stored("b", source_path="/p/x.fits")])
    assert catalogue.find("/p/x.fits") == [A]


def test_several_spellings_of_one_text_are_one_thing(some: Catalogue) -> None:
    assert some.find("a.fits", "/library/frames/a.fits", "frames/a.fits", A[:16]) == [A]


def test_frames_come_in_the_order_asked_for(some: Catalogue) -> None:
    wanted = [sha_of("c"), A[:16], sha_of("b"), "0" * 64, "0" * 16]
    assert [frame.sha256 for frame in some.frames_by_id(wanted)] == [sha_of("c"), A, sha_of("b")]


def test_an_unknown_frame_has_no_record(some: Catalogue) -> None:
    with pytest.raises(DarklibError, match="holds no frame 0000000000000000"):
        some.record("0" * 64)
    assert (some.statements("0" * 64), some.sources("0" * 64), some.statement_frames("none")) == ([], [], [])
