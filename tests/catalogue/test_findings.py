"""Findings and inferences: kept, replaced, forgotten, and no part of what a rebuild has to bring back."""

import random
from datetime import UTC, datetime

import pytest
from catalogue_material import applied, sha_of, stored
from sqlalchemy.exc import StatementError

from darklib.catalogue.catalogue import Catalogue
from darklib.catalogue.contents import compared
from darklib.catalogue.findings import Finding, Inference, inputs_hash

NOW = datetime(2026, 10, 4, 9, 0, 1, 250000, tzinfo=UTC)


def test_a_finding_comes_back_as_it_was_kept(catalogue: Catalogue) -> None:
    kept = Finding("sensor", "body/gain", inputs_hash(["a", "b"]), 3, {"gain": {"value": 1.5, "error": None}}, NOW)
    catalogue.store_findings([kept])
    assert catalogue.findings("sensor") == [kept]
    assert catalogue.findings("sensor", ["body/gain", "another"]) == [kept]
    assert catalogue.findings("sensor", ["another"]) == []
    assert catalogue.findings("flats") == []


def test_the_newest_of_a_subject_takes_the_place_of_the_older(catalogue: Catalogue) -> None:
    first = Finding("sensor", "one", "h1", 1, [1], NOW)
    other = Finding("sensor", "two", "h1", 1, None, NOW)
    again = Finding("sensor", "one", "h2", 2, [2], NOW)
    catalogue.store_findings([first, other])
    catalogue.store_findings([again])
    assert catalogue.findings("sensor") == [again, other]
    catalogue.drop_findings("sensor", ["one"])
    assert catalogue.findings("sensor") == [other]
    catalogue.drop_findings("sensor")
    assert catalogue.findings("sensor") == []


def test_inferences_are_of_a_frame_and_a_sort(catalogue: Catalogue) -> None:
    made = [
        Inference(sha_of("b"), "temperature", -3.25, 0.5, "h", 1),
        Inference(sha_of("b"), "body", "camera-3", None, "h", 1),
        Inference(sha_of("a"), "temperature", None, float("nan"), "h", 1),
    ]
    catalogue.store_inferences(made)
    found = catalogue.inferences("temperature", [sha_of("b"), sha_of("c")])
    assert found == [made[0]]
    assert {one.sha256 for one in catalogue.inferences("temperature")} == {sha_of("a"), sha_of("b")}
    assert [one.error for one in catalogue.inferences("temperature", [sha_of("a")])] == [None]
    catalogue.store_inferences([Inference(sha_of("b"), "temperature", -2.0, 0.25, "h2", 1)])
    assert [one.value for one in catalogue.inferences(sha256s=[sha_of("b")])] == ["camera-3", -2.0]
    catalogue.drop_inferences("temperature", [sha_of("a")])
    assert len(catalogue.inferences()) == 2


def test_thousands_of_inferences_at_once(catalogue: Catalogue) -> None:
    made = [Inference(sha_of(number), "temperature", number / 8, 0.5, "h", 1) for number in range(3000)]
    catalogue.store_inferences(made)
    catalogue.store_inferences(made[1000:])
    found = catalogue.inferences("temperature", [one.sha256 for one in made])
    assert sorted(found, key=lambda one: str(one.value)) == sorted(made, key=lambda one: str(one.value))


def test_what_is_derived_is_no_difference_between_two_catalogues(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a")])
    before = catalogue.contents()
    catalogue.store_findings([Finding("sensor", "one", "h", 1, {}, NOW)])
    catalogue.store_inferences([Inference(sha_of("a"), "temperature", 1.0, None, "h", 1)])
    assert compared(catalogue.contents(), before) == []


def test_nothing_of_a_broken_batch_is_kept(catalogue: Catalogue) -> None:
    good = Finding("sensor", "one", "h", 1, {}, NOW)
    with pytest.raises(StatementError, match="has no JSON"):
        catalogue.store_findings([good, Finding("sensor", "two", "h", 1, {"set": {1}}, NOW)])
    assert catalogue.findings("sensor") == []


def test_the_hash_of_inputs_knows_no_order_and_no_accidental_joins() -> None:
    parts = ["aa", "b", 3, 2.5]
    shuffled = parts.copy()
    random.Random(1).shuffle(shuffled)
    assert inputs_hash(parts) == inputs_hash(shuffled)
    assert inputs_hash(["ab", "c"]) != inputs_hash(["a", "bc"])
    assert inputs_hash([]) != inputs_hash([""])
    assert inputs_hash(["a", "a"]) != inputs_hash(["a"])
