"""The JSON documents other programs rely on: one function a command, from a job's result to plain JSON values.

`write` is the only way to standard output: one document, one line, valid UTF-8, finite numbers, and nothing else.
"""

import json
import math
import re
from collections.abc import Iterable
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from darklib.facts.errors import DarklibError
from darklib.facts.frame import Fact, Ignored
from darklib.facts.match import Batch, Match
from darklib.jobs import results
from darklib.show import gaps_document, objects
from darklib.show import safety_objects as safety
from darklib.show.objects import Json
from darklib.show.text import valid

if TYPE_CHECKING:
    from darklib.jobs.follow import Event


def error(problem: DarklibError) -> Json:
    """A failure, as a document of its own."""
    return _headed(
        "error",
        {"code": problem.code, "text": problem.text, "path": problem.path, "remedy": problem.remedy or None},
    )


def init(result: results.InitResult) -> Json:
    """`init`."""
    return _headed("init", {"library": result.library, "timezone": result.timezone, "dry_run": result.dry_run})


def status(result: results.StatusResult) -> Json:
    """`status`."""
    last = result.last_ingest
    return _headed(
        "status",
        {
            "library": result.library,
            "version": result.version,
            "timezone": result.timezone,
            "bodies": [body_entry(entry) for entry in result.bodies],
            "frames": {kind: result.frames.get(kind, 0) for kind in ("light", "dark", "bias", "flat")},
            "undecided": result.undecided,
            "retired": result.retired,
            "bytes": result.bytes,
            "set_aside": result.set_aside,
            "inbox_files": result.inbox_files,
            "last_ingest": None
            if last is None
            else {
                "run": last.run,
                "at": objects.moment(last.at),
                "ended": last.ended,
                "counts": dict(last.counts),
            },
            "last_night": result.last_night,
            "gaps": [objects.gap(gap) for gap in result.gaps],
            "second_copy": safety.second_copy(result.second_copy),
            "journal": [safety.finding(item) for item in result.journal],
        },
    )


def ingest(
    result: results.IngestResult,
    root: Path,
    check: results.CheckResult | None = None,
    second_copy: results.SecondCopy | None = None,
) -> Json:
    """`ingest`. check: whether the card may be erased, null where that was not asked; second_copy: likewise."""
    return _headed(
        "ingest",
        {
            **_taken_in(result, root),
            "check": None if check is None else safety.checked(check),
            "second_copy": None if second_copy is None else safety.second_copy(second_copy),
        },
    )


def _taken_in(result: results.IngestResult, root: Path) -> Json:
    return {
        "run": result.run,
        "dry_run": result.dry_run,
        "counts": objects.counts(result.counts),
        "stored": [objects.frame(frame, root) for frame in result.stored],
        "duplicates": [{"path": item.path, "same_as": item.same_as} for item in result.duplicates],
        "set_aside": [objects.set_aside_file(item) for item in result.set_aside],
        "passed_over": [objects.passed_over(item) for item in result.passed_over],
        "groups": [objects.group(group) for group in result.groups],
        "remarks": list(result.remarks),
        "removed": result.removed,
    }


def frames(result: results.FramesResult, root: Path) -> Json:
    """`frames`."""
    return _headed("frames", {"frames": [objects.frame(item, root) for item in result.frames], "next": result.next})


def set_entry(entry: results.SetEntry) -> Json:
    """One set of the list."""
    return objects.calibration_set(entry.set, entry.age_days)


def sets(entries: Iterable[results.SetEntry], following: str | None) -> Json:
    """`sets`."""
    return _headed("sets", {"sets": [set_entry(entry) for entry in entries], "next": following})


def body_entry(entry: results.BodyEntry) -> Json:
    """One camera of the list."""
    return {
        **(objects.body(entry.ref) or {}),
        "frames": entry.frames,
        "first_at": objects.moment(entry.first_at),
        "last_at": objects.moment(entry.last_at),
        "changes": [{"what": change.what, "at": objects.moment(change.at)} for change in entry.changes],
        "joined": list(entry.joined),
    }


def bodies(result: results.BodiesResult, following: str | None = None) -> Json:
    """`bodies` and what is below it."""
    return _headed(
        "bodies",
        {
            "bodies": [body_entry(entry) for entry in result.bodies],
            "changed": [_changed(item) for item in result.changed],
            "dry_run": result.dry_run,
            "remarks": list(result.remarks),
            "next": following,
        },
    )


def train_entry(entry: results.TrainEntry) -> Json:
    """One train of the list."""
    return {
        "fingerprint": entry.ref.fingerprint,
        "label": entry.ref.label,
        "facts": {
            "telescope": entry.facts.telescope,
            "focal_length_mm": entry.facts.focal_length_mm,
            "aperture_mm": entry.facts.aperture_mm,
            "stated": entry.facts.stated,
        },
        "nights": list(entry.nights),
        "changes": [{"at": objects.moment(change.at), "note": change.note} for change in entry.changes],
    }


def trains(result: results.TrainsResult, following: str | None = None) -> Json:
    """`trains` and what is below it."""
    return _headed(
        "trains",
        {
            "trains": [train_entry(entry) for entry in result.trains],
            "changed": [_changed(item) for item in result.changed],
            "dry_run": result.dry_run,
            "next": following,
        },
    )


def changed(command: str, result: results.ChangedResult) -> Json:
    """`amend`, `retire` and `restore`."""
    return _headed(
        command,
        {
            "changed": [_changed(item) for item in result.changed],
            "dry_run": result.dry_run,
            "remarks": list(result.remarks),
        },
    )


def _changed(item: results.Changed) -> Json:
    return {"id": item.id, "field": item.field, "old": item.old, "new": item.new}


def batches(items: Iterable[Batch], root: Path, following: str | None) -> Json:
    """`batches`."""
    return _headed("batches", {"batches": [objects.batch(item, root) for item in items], "next": following})


def match(items: Iterable[Match], unread: Iterable[results.SetAsideFile], root: Path, following: str | None) -> Json:
    """`match`."""
    return _headed(
        "match",
        {
            "matches": [objects.match(item, root) for item in items],
            "unread": [objects.set_aside_file(item) for item in unread],
            "next": following,
        },
    )


def gaps(result: results.GapsResult) -> Json:
    """`gaps`."""
    return _headed("gaps", gaps_document.gaps(result))


def gaps_follow(event: "Event") -> Json:
    """`gaps --follow`: one event."""
    return _headed("gaps-follow", gaps_document.followed(event))


def export(result: results.ExportResult) -> Json:
    """`export`."""
    return _headed(
        "export",
        {
            "written": list(result.written),
            "manifest": result.manifest,
            "batches": list(result.batches),
            "dry_run": result.dry_run,
        },
    )


def check(result: results.CheckResult) -> Json:
    """`check`."""
    return _headed("check", safety.checked(result))


def verify(result: results.VerifyResult) -> Json:
    """`verify`."""
    return _headed("verify", safety.verified(result))


def rebuild(result: results.RebuildResult) -> Json:
    """`rebuild`."""
    return _headed(
        "rebuild",
        {
            "frames": result.frames,
            "differences": list(result.differences),
            "backup": result.backup,
            "dry_run": result.dry_run,
        },
    )


def explain(result: results.ExplainResult, root: Path | None) -> Json:
    """`explain`."""
    return _headed(
        "explain",
        {
            "path": result.path,
            "stored": result.stored,
            "facts": [_fact(fact) for fact in result.facts],
            "ignored": [_ignored(item) for item in result.ignored],
            "amendments": [
                {
                    "field": item.field,
                    "value": item.value,
                    "old": item.old,
                    "note": item.note,
                    "at": objects.moment(item.at),
                    "run": item.run,
                    "undone": item.undone,
                }
                for item in result.amendments
            ],
            "kind_why": result.kind_why,
            "sources": list(result.sources),
            "frame": objects.frame(result.frame, root) if result.frame is not None else None,
            "refusal": objects.set_aside_file(result.refusal) if result.refusal is not None else None,
        },
    )


def _fact(fact: Fact) -> Json:
    return {
        "name": fact.name,
        "value": fact.value,
        "unit": fact.unit,
        "from": fact.origin,
        "where": fact.where,
        "raw": fact.raw,
        "note": fact.note,
    }


def _ignored(item: Ignored) -> Json:
    return {"where": item.where, "raw": item.raw, "why": item.why}


def set_aside_entry(entry: results.SetAsideEntry) -> Json:
    """One file of the list."""
    return {
        "path": entry.path,
        "reason": entry.reason,
        "code": entry.code,
        "kept_path": entry.kept_path,
        "sha256": entry.sha256,
        "run": entry.run,
        "version": entry.version,
    }


def set_aside(result: results.SetAsideResult, root: Path, following: str | None = None) -> Json:
    """`set-aside`."""
    return _headed(
        "set-aside",
        {
            "set_aside": [set_aside_entry(entry) for entry in result.set_aside],
            "retried": _taken_in(result.retried, root) if result.retried is not None else None,
            "next": following,
        },
    )


def demo(result: results.DemoResult, steps: Iterable[tuple[tuple[str, ...], int]]) -> Json:
    """`demo`: the steps are the commands that were run, with their exit statuses."""
    return _headed(
        "demo",
        {
            "library": result.library,
            "cards": list(result.cards),
            "export_to": result.export_to,
            "steps": [{"command": list(command), "status": status_} for command, status_ in steps],
            "dry_run": result.dry_run,
        },
    )


# What JSON leaves as it is and a terminal may obey; it escapes C0 by itself. DEL and C1 (ECMA-48), separators of lines,
# and marks that turn the direction of writing (Unicode, annex 9).
_ORDERS = re.compile("[\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]")


def write(document: Json, stream: IO[str]) -> None:
    """Writes one document as one line. A stream that cannot hold every letter gets them as JSON's own escapes."""
    encoding = (getattr(stream, "encoding", None) or "utf-8").lower().replace("-", "").replace("_", "")
    stream.write(as_json(document, ascii_only=not encoding.startswith("utf")) + "\n")


def as_json(document: Json, *, ascii_only: bool = False) -> str:
    """A document as JSON text: valid UTF-8, finite numbers, nothing that a terminal would obey."""
    try:
        text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    except ValueError:
        document = _finite(document)
        text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    # A lone surrogate stands for an undecodable byte; its code's backslash must be escaped, so values are mended.
    if valid(text) != text:
        document = _mended(document)
        text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    if ascii_only and not text.isascii():
        return json.dumps(document, allow_nan=False)
    return _ORDERS.sub(lambda found: f"\\u{ord(found.group()):04x}", text)


def _finite(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(item) for item in value]
    return value


def _mended(value: Any) -> Any:
    if isinstance(value, str):
        return valid(value)
    if isinstance(value, dict):
        return {valid(key): _mended(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_mended(item) for item in value]
    return value


def _headed(command: str, body: Json) -> Json:
    return {"schema": f"darklib/{command}/1", **body}
