"""Every JSON document: as its published schema says, whatever the job returned."""

import json
import math
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from any_result import any_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from published_schemas import SHARED, complaints, one_document, schemas

from darklib.cli.index import COMMANDS
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Frame, FrameWarning
from darklib.jobs import results
from darklib.jobs.exposure import ExposureResult
from darklib.jobs.sensor import SensorResult
from darklib.show import documents, exposure_document, objects, sensor_document

ROOT = Path("/astro/[dark]/library").absolute()


@dataclass(frozen=True)
class Written:
    """What of an ExportResult is shown; its matches have a document of their own."""

    written: tuple[str, ...]
    manifest: str
    batches: tuple[str, ...]


DOCUMENTS: dict[str, tuple[type[Any], Any]] = {
    "init": (results.InitResult, documents.init),
    "status": (results.StatusResult, documents.status),
    "ingest": (results.IngestResult, lambda it: documents.ingest(it, ROOT)),
    "frames": (results.FramesResult, lambda it: documents.frames(it, ROOT)),
    "sets": (results.SetsResult, lambda it: documents.sets(it.sets, None)),
    "bodies": (results.BodiesResult, documents.bodies),
    "check": (results.CheckResult, documents.check),
    "amend": (results.ChangedResult, lambda it: documents.changed("amend", it)),
    "retire": (results.ChangedResult, lambda it: documents.changed("retire", it)),
    "restore": (results.ChangedResult, lambda it: documents.changed("restore", it)),
    "batches": (results.BatchesResult, lambda it: documents.batches(it.batches, ROOT, None)),
    "match": (results.MatchResult, lambda it: documents.match(it.matches, it.unread, ROOT, "2026-10-03-kfmqz")),
    "gaps": (results.GapsResult, documents.gaps),
    "export": (Written, lambda it: documents.export(results.ExportResult(it.written, it.manifest, it.batches))),
    "trains": (results.TrainsResult, documents.trains),
    "explain": (results.ExplainResult, lambda it: documents.explain(it, ROOT)),
    "set-aside": (results.SetAsideResult, lambda it: documents.set_aside(it, ROOT)),
    "verify": (results.VerifyResult, documents.verify),
    "rebuild": (results.RebuildResult, documents.rebuild),
    "sensor": (SensorResult, sensor_document.sensor),
    "exposure": (ExposureResult, exposure_document.exposure),
    "demo": (results.DemoResult, lambda it: documents.demo(it, [(("ingest", "a"), 0)])),
}

LIMITED = settings(max_examples=5, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])


def printed(document: dict[str, Any]) -> str:
    return documents.as_json(document) + "\n"


@pytest.mark.parametrize("name", sorted(DOCUMENTS))
@LIMITED
@given(data=st.data())
def test_a_document_is_as_its_schema_says(name: str, data: st.DataObject) -> None:
    cls, made = DOCUMENTS[name]
    document = one_document(printed(made(data.draw(any_of(cls)))))
    assert document["schema"] == f"darklib/{name}/1"


def test_every_command_has_a_document_and_every_schema_is_used() -> None:
    assert set(DOCUMENTS) == set(COMMANDS)
    assert set(schemas()) == set(DOCUMENTS) | {"error", "manifest", "gaps-follow", SHARED}


@pytest.mark.parametrize("name", sorted(schemas()))
def test_a_schema_is_a_schema(name: str) -> None:
    # JSON Schema, draft 2020-12, the meta-schema in the jsonschema package.
    Draft202012Validator.check_schema(schemas()[name])
    assert schemas()[name]["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def closed(schema: Any) -> list[str]:
    """Return the objects with named properties in a schema that leave a key out or let one in."""
    found = []
    if isinstance(schema, dict):
        if "properties" in schema and (
            set(schema["properties"]) != set(schema.get("required", ()))
            or schema.get("additionalProperties") is not False
        ):
            found.append(str(sorted(schema["properties"])))
        for item in schema.values():
            found += closed(item)
    elif isinstance(schema, list):
        for item in schema:
            found += closed(item)
    return found


@pytest.mark.parametrize("name", sorted(schemas()))
def test_every_key_is_always_present(name: str) -> None:
    assert closed(schemas()[name]) == []


# Keys that other programs rely on, copied from the project's contract with them, not from the code.
PROMISED = {
    "ingest": "run dry_run counts stored duplicates set_aside passed_over groups remarks removed",
    "frames": "frames next",
    "batches": "batches next",
    "match": "matches next",
    "sets": "sets next",
    "gaps": "gaps plan cautions",
    "trains": "trains",
    "sensor": "sensors",
    "exposure": "batches",
    "amend": "changed dry_run",
    "retire": "changed dry_run",
    "restore": "changed dry_run",
    "rebuild": "frames differences",
    "init": "library",
    "explain": "path facts ignored amendments",
    "export": "written manifest batches",
    "check": "checked stored set_aside not_stored may_erase",
    "verify": "checked intact differing missing unknown_files catalogue",
    "error": "code text path remedy",
}
PROMISED_OBJECTS = {
    "frame": "id kind kind_from kind_confidence body exposure_s gain iso offset readout_mode binning width height cfa "
    "cfa_size temperature_c temperature_error_c temperature_from set_temperature_c filter train target taken_at "
    "time_from night series dark_ratio combined row_order path source_path sha256 level warnings retired",
    "body": "id label make model serial",
    "train": "fingerprint label",
    "batch": "id night target body readout pointing exposure_s filter train count temperatures frames paths",
    "readout": "gain iso offset binning readout_mode width height cfa bits dn_step black_dn white_dn",
    "temperatures": "min_c median_c max_c unknown",
    "match": "batch part darks flats biases dark_flats proof",
    "choice": "verdict frames paths count exposure_s temperature_c temperature_mismatch_c age_days use recipe "
    "time_cost_percent time_cost_percent_fixed time_cost_percent_dithered lights_factor no_dark_cost_percent "
    "hot_pixels_left_per_megapixel level_error_e flat_residual_percent dark_ratio stale reasons runners_up near_misses",
    "coded": "code text figures",
    "set": "id kind body readout exposure_s filter train count temperatures first_night last_night frames",
    "gap": "kind body readout exposure_s filter train lights interval have need verdict_now",
    "plan": "steps total_minutes",
    "counts": "seen stored duplicates set_aside passed_over undecided bytes",
    "group": "id kind kind_confidence count example ask",
    "train_entry": "fingerprint label facts nights changes",
    "changed": "id field old new",
    "set_aside_file": "path reason code",
    "passed_over": "path code",
}


@pytest.mark.parametrize("name", sorted(PROMISED))
def test_promised_keys_of_a_document_are_there(name: str) -> None:
    assert {"schema", *PROMISED[name].split()} <= set(schemas()[name]["properties"])


@pytest.mark.parametrize("name", sorted(PROMISED_OBJECTS))
def test_promised_keys_of_an_object_are_there(name: str) -> None:
    assert set(PROMISED_OBJECTS[name].split()) <= set(schemas()[SHARED]["$defs"][name]["properties"])


def test_an_error_is_a_document() -> None:
    problem = DarklibError("disk_full", "The disk is full.", path="/x/\udce9", remedy="Make room.")
    document = one_document(printed(documents.error(problem)))
    assert document == {
        "schema": "darklib/error/1",
        "code": "disk_full",
        "text": "The disk is full.",
        "path": "/x/\\xe9",
        "remedy": "Make room.",
    }
    assert one_document(printed(documents.error(DarklibError("odd", "Odd."))))["remedy"] is None


def test_undecodable_bytes_are_shown_as_codes_and_controls_stay_escaped() -> None:
    document = {"path": "a\udcffb", "text": "\x1b[0m", "list": ["\udc80"], "lone": "\ud83d"}
    text = documents.as_json(document)
    assert json.loads(text) == {"path": "a\\xffb", "text": "\x1b[0m", "list": ["\\x80"], "lone": "\\ud83d"}
    # RFC 8259, section 7: control characters must be escaped.
    assert "\x1b" not in text


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_that_json_cannot_hold_is_unknown(value: float) -> None:
    assert json.loads(documents.as_json({"a": [{"b": value}], "c": 1.5})) == {"a": [{"b": None}], "c": 1.5}


@LIMITED
@given(any_of(Frame))
def test_unknown_is_null_and_never_a_number_in_its_place(frame: Frame) -> None:
    bare = replace(
        frame, kind=None, kind_from=None, kind_confidence=0.0, exposure_s=None, temperature_c=None, body=None,
        train=None, median_dn=None, taken_at=None, night=None, combined=None, cfa_rows=None, dark_ratio=None,
    )  # fmt: skip
    shown = objects.frame(bare, ROOT)
    for key in (
        "kind",
        "kind_confidence",
        "exposure_s",
        "temperature_c",
        "body",
        "train",
        "level",
        "taken_at",
        "night",
    ):
        assert shown[key] is None
    assert shown["combined"] is None
    assert shown["cfa_size"] is None
    assert shown["dark_ratio"] is None


def test_paths_are_made_absolute_except_those_that_are() -> None:
    inside, outside = ROOT / "frames" / "dark" / "x.fits", ROOT.parent / "kept" / "y.fits"
    assert _with_path("frames/dark/x.fits", in_place=False) == str(inside)
    assert _with_path(str(outside), in_place=True) == str(outside)


def _with_path(path: str, *, in_place: bool) -> str:
    class Placed:
        pass

    placed: Any = Placed()
    placed.path, placed.in_place = path, in_place
    return objects.absolute(placed, ROOT)


@LIMITED
@given(any_of(Frame))
def test_a_moment_is_utc_with_z(frame: Frame) -> None:
    # RFC 3339, section 5.6: date-time, here always with the zone written Z.
    shown = objects.frame(frame, None)["taken_at"]
    if frame.taken_at is None:
        assert shown is None
    else:
        assert shown.endswith("Z")
        assert datetime.fromisoformat(shown) == frame.taken_at


def test_a_schema_notices_what_is_missing_and_what_is_too_much() -> None:
    right = documents.rebuild(results.RebuildResult(3))
    assert complaints(right) == []
    assert complaints({key: value for key, value in right.items() if key != "frames"})
    assert complaints({**right, "frames": -1})
    assert complaints({**right, "more": 1})


def test_figures_of_a_warning_are_copied() -> None:
    warning = FrameWarning("saturated", "many pixels are saturated", {"saturated_percent": 12.5})
    assert objects.coded(warning.code, warning.text, warning.figures)["figures"] == {"saturated_percent": 12.5}
