"""The objects that are the same in every JSON document: body, readout, train, frame, batch, set, choice, match, gap.

Every key is always present; what is not known is null. Paths are made absolute with the library's folder.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from darklib.facts.frame import BodyRef, DarkRatio, Frame, Readout
from darklib.facts.match import Batch, CalibrationSet, Choice, Match, NearMiss, Reason, Recipe, Temperatures
from darklib.facts.plan import Gap, Plan, Step
from darklib.facts.train import TrainRef
from darklib.facts.units import iso_z
from darklib.jobs.results import IngestCounts, KindGroup, PassedOver, SetAsideFile

Json = dict[str, Any]

MOST_RUNNERS_UP = 3


def moment(at: datetime | None) -> str | None:
    """ISO 8601 in UTC with Z."""
    return None if at is None else iso_z(at)


def absolute(frame: Frame, root: Path | None) -> str:
    """Where the frame's file is now. Frames in place, and those of no library, already say so absolutely."""
    return frame.path if frame.in_place or root is None else str(root / frame.path)


def paths(frames: Iterable[Frame], root: Path | None) -> list[str]:
    """The absolute path of each frame."""
    return [absolute(frame, root) for frame in frames]


def ids(frames: Iterable[Frame]) -> list[str]:
    """The id of each frame."""
    return [frame.id for frame in frames]


def body(ref: BodyRef | None) -> Json | None:
    """A camera body."""
    if ref is None:
        return None
    return {"id": ref.id, "label": ref.label, "make": ref.make, "model": ref.model, "serial": ref.serial}


def train(ref: TrainRef | None) -> Json | None:
    """An optical train."""
    return None if ref is None else {"fingerprint": ref.fingerprint, "label": ref.label}


def readout(value: Readout) -> Json:
    """What must be equal before two frames can be compared."""
    return {
        "gain": value.gain,
        "iso": value.iso,
        "offset": value.offset,
        "binning": list(value.binning),
        "readout_mode": value.readout_mode,
        "width": value.width,
        "height": value.height,
        "origin_x": value.origin_x,
        "origin_y": value.origin_y,
        "cfa": value.cfa,
        "row_order": value.row_order,
        "bits": value.bits,
        "dn_step": value.dn_step,
        "black_dn": value.black_dn,
        "white_dn": value.white_dn,
    }


def temperatures(value: Temperatures) -> Json:
    """Spread of the temperatures of some frames; unknown is a number of frames."""
    return {"min_c": value.min_c, "median_c": value.median_c, "max_c": value.max_c, "unknown": value.unknown}


def coded(code: str, text: str, figures: Mapping[str, float]) -> Json:
    """A warning or a reason: code, sentence, figures."""
    return {"code": code, "text": text, "figures": dict(figures)}


def frame(value: Frame, root: Path | None) -> Json:
    """One frame."""
    settings = value.readout
    size = value.cfa_rows is not None and value.cfa_columns is not None and settings.cfa is not None
    level = None
    if value.median_dn is not None:
        level = {
            "median_dn": value.median_dn,
            "mad_dn": value.mad_dn,
            "saturated_fraction": value.saturated_fraction,
        }
    combined = None
    if value.combined is not None:
        combined = {
            "count": value.combined.count,
            "method": value.combined.method,
            "bias_removed": value.combined.bias_removed,
            "normalised": value.combined.normalised,
        }
    return {
        "id": value.id,
        "kind": value.kind.value if value.kind else None,
        "kind_from": value.kind_from.value if value.kind_from else None,
        "kind_confidence": value.kind_confidence if value.kind else None,
        "body": body(value.body),
        "exposure_s": value.exposure_s,
        "gain": settings.gain,
        "iso": settings.iso,
        "offset": settings.offset,
        "readout_mode": settings.readout_mode,
        "binning": list(settings.binning),
        "width": settings.width,
        "height": settings.height,
        "cfa": settings.cfa,
        "cfa_size": [value.cfa_rows, value.cfa_columns] if size else None,
        "temperature_c": value.temperature_c,
        "temperature_error_c": value.temperature_error_c,
        "temperature_from": value.temperature_from.value if value.temperature_from else None,
        "set_temperature_c": value.set_temperature_c,
        "filter": value.filter,
        "train": train(value.train),
        "target": value.target,
        "taken_at": moment(value.taken_at),
        "time_from": value.time_from,
        "night": value.night,
        "series": value.series,
        "dark_ratio": _dark_ratio(value.dark_ratio),
        "combined": combined,
        "row_order": value.row_order,
        "path": absolute(value, root),
        "source_path": value.source_path,
        "sha256": value.sha256,
        "level": level,
        "warnings": [coded(warning.code, warning.text, warning.figures) for warning in value.warnings],
        "retired": value.retired,
    }


def batch(value: Batch, root: Path | None) -> Json:
    """Lights of one night and target that want the same calibration frames."""
    return {
        "id": value.id,
        "night": value.night,
        "target": value.target,
        "body": body(value.body),
        "readout": readout(value.readout),
        "pointing": value.pointing,
        "exposure_s": value.exposure_s,
        "filter": value.filter,
        "train": train(value.train),
        "count": value.count,
        "temperatures": temperatures(value.temperatures),
        "frames": ids(value.frames),
        "paths": paths(value.frames, root),
    }


def calibration_set(value: CalibrationSet, age_days: int | None) -> Json:
    """Calibration frames that belong together."""
    return {
        "id": value.id,
        "kind": value.kind.value,
        "body": body(value.body),
        "readout": readout(value.readout),
        "exposure_s": value.exposure_s,
        "filter": value.filter,
        "train": train(value.train),
        "count": value.count,
        "temperatures": temperatures(value.temperatures),
        "set_temperature_c": value.set_temperature_c,
        "first_night": value.first_night,
        "last_night": value.last_night,
        "age_days": age_days,
        "frames": ids(value.frames),
    }


def _reasons(values: Iterable[Reason]) -> list[Json]:
    return [coded(reason.code, reason.text, reason.figures) for reason in values]


def _near_miss(value: NearMiss) -> Json:
    return {"set": value.set.id, "frames": ids(value.set.frames), "count": value.set.count, "failed": value.failed}


def _served(value: Choice, root: Path | None) -> Json:
    """What a choice and a runner-up have in common."""
    stock = value.set
    return {
        "verdict": value.verdict.value,
        "set": stock.id if stock else None,
        "frames": ids(stock.frames) if stock else [],
        "paths": paths(stock.frames, root) if stock else [],
        "count": stock.count if stock else 0,
        "exposure_s": stock.exposure_s if stock else None,
        "temperature_c": stock.temperatures.median_c if stock else None,
        "temperature_mismatch_c": value.temperature_mismatch_c,
        "age_days": value.age_days,
        "use": value.use.value if value.use else None,
        "recipe": _recipe(value.recipe),
        "time_cost_percent": value.time_cost_percent,
        "time_cost_percent_fixed": value.time_cost_percent_fixed,
        "time_cost_percent_dithered": value.time_cost_percent_dithered,
        "lights_factor": value.lights_factor,
        "hot_pixels_left_per_megapixel": value.hot_pixels_left_per_megapixel,
        "level_error_e": value.level_error_e,
        "flat_residual_percent": value.flat_residual_percent,
    }


def _recipe(value: Recipe | None) -> Json | None:
    return None if value is None else {"form": value.form, "scale": value.scale, "needs_bias": value.needs_bias}


def choice(value: Choice, root: Path | None) -> Json:
    """The set chosen for one purpose, what it costs and why, what came next and what a hard rule kept out."""
    return {
        **_served(value, root),
        "no_dark_cost_percent": value.no_dark_cost_percent,
        "dark_ratio": value.dark_ratio,
        "stale": value.stale,
        "reasons": _reasons(value.reasons),
        "runners_up": [
            {**_served(other, root), "stale": other.stale, "reasons": _reasons(other.reasons)}
            for other in value.runners_up[:MOST_RUNNERS_UP]
        ],
        "near_misses": [_near_miss(miss) for miss in value.near_misses],
    }


def match(value: Match, root: Path | None) -> Json:
    """What serves one batch, or one part of it: `lights` are the ids of the lights in that part.

    `single_set`: what one set of darks for the whole batch would cost, where it comes in parts.
    """
    return {
        "batch": batch(value.batch, root),
        "part": {"number": value.part, "of": value.parts},
        "lights": ids(value.lights),
        "darks": choice(value.darks, root),
        "flats": choice(value.flats, root),
        "biases": choice(value.biases, root),
        "dark_flats": choice(value.dark_flats, root),
        "single_set": choice(value.single, root) if value.single is not None else None,
        "proof": None,
    }


def _dark_ratio(value: DarkRatio | None) -> Json | None:
    return None if value is None else {"value": value.value, "error": value.error, "against": value.against}


def gap(value: Gap) -> Json:
    """Calibration frames that some lights lack."""
    interval = None
    if value.interval is not None:
        interval = {
            "low_c": value.interval.low_c,
            "high_c": value.interval.high_c,
            "shoot_at_c": value.interval.shoot_at_c,
        }
    return {
        "kind": value.kind.value,
        "role": value.role,
        "body": body(value.body),
        "readout": readout(value.readout),
        "exposure_s": value.exposure_s,
        "filter": value.filter,
        "train": train(value.train),
        "lights": {"count": value.lights_count, "seconds": value.lights_seconds},
        "batches": list(value.batches),
        "interval": interval,
        "have": value.have,
        "need": value.need,
        "verdict_now": value.verdict_now.value,
        "still_possible": value.still_possible,
        "cooled": value.cooled,
        "id": value.id,
        "frame_bytes": value.frame_bytes,
        "dark_ratio": _dark_ratio(value.dark_ratio),
        "remedy": value.remedy or None,
        "expected": value.expected,
    }


def _step(number: int, value: Step) -> Json:
    return {
        "number": number,
        "kind": value.kind.value,
        "body": body(value.body),
        "readout": readout(value.readout),
        "exposure_s": value.exposure_s,
        "temperature_c": value.temperature_c,
        "frames": value.frames,
        "minutes": value.minutes,
        "serves_lights": value.serves_lights,
        "low_c": value.low_c,
        "high_c": value.high_c,
        "how": value.how,
        "settling_minutes": value.settling_minutes,
        "bytes": value.bytes,
        "gaps": list(value.gaps),
        "batches": list(value.batches),
        "lights_seconds": value.lights_seconds,
    }


def plan(value: Plan) -> Json:
    """What to shoot, in order."""
    evening = None
    if value.evening is not None:
        evening = {
            "minutes": value.evening.minutes,
            "served_seconds": value.evening.served_seconds,
            "asked_seconds": value.evening.asked_seconds,
            "left_out": list(value.evening.left_out),
            "bound_seconds": value.evening.bound_seconds,
        }
    return {
        "steps": [_step(number, step) for number, step in enumerate(value.steps, start=1)],
        "total_minutes": value.total_minutes,
        "bound_minutes": value.bound_minutes,
        "bytes": value.bytes,
        "evening": evening,
    }


def counts(value: IngestCounts) -> Json:
    """Files by outcome."""
    return {
        "seen": value.seen,
        "stored": value.stored,
        "duplicates": value.duplicates,
        "set_aside": value.set_aside,
        "passed_over": value.passed_over,
        "undecided": value.undecided,
        "bytes": value.bytes,
    }


def set_aside_file(value: SetAsideFile) -> Json:
    """A file that could not be taken."""
    return {"path": value.path, "reason": value.reason, "code": value.code}


def passed_over(value: PassedOver) -> Json:
    """A file that is no frame."""
    return {"path": value.path, "code": value.code}


def group(value: KindGroup) -> Json:
    """Frames that are one kind."""
    return {
        "id": value.id,
        "kind": value.kind.value if value.kind else None,
        "kind_confidence": value.kind_confidence if value.kind else None,
        "count": value.count,
        "example": value.example,
        "ask": value.ask,
    }
