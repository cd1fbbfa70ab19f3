"""The hard rules by kind, one row a rule: what differs, for which roles it excludes, and what not knowing it means."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from roll import READOUT, at, body, lights, train

from darklib.facts.codes import REASONS
from darklib.facts.frame import Frame, Readout
from darklib.facts.match import BodyChange
from darklib.matching.rules import RULES, changes_between, hard_rule, unknowns

RAW = Readout(iso=800, width=6000, height=4000, cfa="RGGB", bits=14, dn_step=1)
DARKS = ("dark", "bias", "dark_flat")

# readout of the lights, what changes in the candidate, code, roles that it excludes; from the rules by kind:
# darks and biases agree in everything, flats in size, place, binning, colour pattern and row order alone.
TABLE = [
    (READOUT, {"gain": 200.0}, "other_gain", DARKS),
    (RAW, {"iso": 1600}, "other_gain", DARKS),
    (READOUT, {"offset": 10.0}, "other_offset", DARKS),
    (replace(READOUT, readout_mode="high gain"), {"readout_mode": "low noise"}, "other_mode", DARKS),
    (READOUT, {"dn_step": 16}, "other_dn_scale", DARKS),
    (RAW, {"bits": 12}, "other_dn_scale", DARKS),
    (READOUT, {"binning": (2, 2)}, "other_binning", (*DARKS, "flat")),
    (READOUT, {"width": 3000}, "other_size", (*DARKS, "flat")),
    (READOUT, {"origin_x": 8}, "cropped", (*DARKS, "flat")),
    (RAW, {"cfa": "GRBG"}, "other_cfa", (*DARKS, "flat")),
    (replace(READOUT, row_order="TOP-DOWN"), {"row_order": "BOTTOM-UP"}, "flipped", (*DARKS, "flat")),
]


@pytest.mark.parametrize(("readout", "change", "code", "roles"), TABLE)
def test_a_known_difference_excludes(readout: Readout, change: dict, code: str, roles: tuple[str, ...]) -> None:
    here, there = lights(1, readout=readout)[0], lights(1, readout=replace(readout, **change))[0]
    for role in RULES:
        assert hard_rule(role, here, there) == (code if role in roles else None), role
        assert hard_rule(role, there, here) == hard_rule(role, here, there)
        assert hard_rule(role, here, here) is None


UNKNOWN = [
    (READOUT, {"gain": None}, "gain_unknown", DARKS),
    (RAW, {"iso": None}, "gain_unknown", DARKS),
    (READOUT, {"offset": None}, "offset_unknown", DARKS),
    (replace(READOUT, readout_mode="high gain"), {"readout_mode": None}, "readout_unknown", DARKS),
    (READOUT, {"dn_step": None}, "readout_unknown", DARKS),
    (READOUT, {"width": None}, "readout_unknown", (*DARKS, "flat")),
    (RAW, {"cfa": None}, "readout_unknown", (*DARKS, "flat")),
    (replace(READOUT, origin_x=8), {"origin_x": None}, "readout_unknown", (*DARKS, "flat")),
    # A file that names no origin, as most, is a full frame; bits are told by few.
    (READOUT, {"origin_x": None, "origin_y": None}, None, ()),
    (READOUT, {"bits": None}, None, ()),
    # A camera that says only its ISO, or only its gain, is compared by what both say.
    (replace(READOUT, iso=800), {"gain": None}, None, ()),
    # What is told and not compared.
    (READOUT, {"black_dn": 200.0, "white_dn": 60000.0}, None, ()),
]


@pytest.mark.parametrize(("readout", "change", "code", "roles"), UNKNOWN)
def test_an_unknown_leaves_a_candidate(
    readout: Readout, change: dict, code: str | None, roles: tuple[str, ...]
) -> None:
    here, there = lights(1, readout=readout)[0], lights(1, readout=replace(readout, **change))[0]
    for role in RULES:
        assert hard_rule(role, here, there) is None
        found = [reason.code for reason in unknowns(role, here, there)]
        assert found == ([code] if role in roles else []), role


def test_body_train_and_filter() -> None:
    here = lights(1)[0]

    def other(**change: object) -> Frame:
        return replace(here, **change)  # type: ignore[arg-type]

    for role in RULES:
        assert hard_rule(role, here, other(body=body("B2"))) == "other_body"
        assert hard_rule(role, here, other(train=train("Short Tube"))) == (
            "different_train" if role == "flat" else None
        )
        assert hard_rule(role, here, other(filter="R")) == ("other_filter" if role == "flat" else None)
        assert [reason.code for reason in unknowns(role, here, other(body=None))] == ["body_unknown"]
    assert [reason.code for reason in unknowns("flat", here, other(train=None))] == ["train_unknown"]
    assert [reason.code for reason in unknowns("flat", here, other(filter=None))] == ["filter_unknown"]
    # A camera known without its serial number may be this one; not so one of another model.
    assert [reason.code for reason in unknowns("dark", here, other(body=body(None)))] == ["body_unknown"]
    assert hard_rule("dark", here, other(body=body(None, "Quiet Eye 10"))) == "other_body"
    # Two cameras of which nothing is known are not taken for one; two cameras without a filter both have none.
    nobody = other(body=None, filter=None)
    assert [reason.code for reason in unknowns("flat", nobody, nobody)] == ["body_unknown"]


def test_every_code_has_a_sentence() -> None:
    for rules in RULES.values():
        for rule in rules:
            assert rule.failed in REASONS
            assert rule.unknown in REASONS


def test_changes_between_two_spans() -> None:
    day = timedelta(days=1)
    moment = at("2026-03-10T21:00")
    old, new = (moment - 9 * day, moment - 8 * day), (moment, moment + day / 3)
    changes = [
        BodyChange("b", what, moment - ago * day) for what, ago in (("remapped", 20), ("remapped", 4), ("cleaned", 3))
    ]
    remapped = frozenset({"remapped"})
    assert [change.at for change in changes_between(changes, remapped, old, new)] == [moment - 4 * day]
    assert changes_between(changes, remapped, new, old) == changes_between(changes, remapped, old, new)
    assert changes_between(changes, remapped, None, new) == []
    assert changes_between(changes, frozenset({"modified"}), old, new) == []
