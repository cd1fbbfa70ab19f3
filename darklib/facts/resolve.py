"""The one place that ranks the sources of a fact: stated by the user, read from the file, measured, inferred."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta

from darklib.facts.codes import WARNINGS
from darklib.facts.frame import (
    BodyRef,
    Combined,
    Frame,
    FrameFacts,
    FrameRecord,
    FrameWarning,
    Kind,
    KindFrom,
    PixelFacts,
    Readout,
    Statement,
    TemperatureFrom,
)
from darklib.facts.naming import body_id, body_key, five_letters, slug
from darklib.facts.night import EARLY_AFTERNOON_S, after_noon_s, localised, night_of
from darklib.facts.train import TrainFacts, TrainRef, fingerprint, label

HEADER_TEMPERATURE_ERROR_C = 0.5
"""Error given to a recorded sensor temperature: most are whole or half degrees (common practice, no single source)."""

NORMALISED_BELOW_DN = 10.0
"""Flats brought to a level of one have fractions about it; counts of a sensor are hundreds and more."""

MAKERNOTE_TEMPERATURE_ERROR_C = 1.0
"""Maker notes hold whole degrees from a sensor on a board."""


def body_of(read: FrameFacts, statements: Iterable[Statement] = ()) -> BodyRef | None:
    """The body: as the user states it, else as the file names it; None where neither names one.

    A statement may hold the id or label of a body already known: the catalogue looks there first and comes here only
    for a body that is new.
    """
    stated = _last(statements, "body")
    if stated is not None:
        name = " ".join(str(stated).split())
        key = f"stated|{name.casefold()}"
        return BodyRef(f"{slug(name)}-{five_letters(key)}", key, name, read.make, read.model, read.serial)
    if not read.model:
        return None
    key = body_key(read.make, read.model, read.serial)
    name = read.model if not read.serial else f"{read.model} ({read.serial})"
    return BodyRef(body_id(read.make, read.model, read.serial), key, name, read.make, read.model, read.serial)


def stated_body(statements: Iterable[Statement]) -> str | None:
    """The id or label of the body that the user states, if any."""
    value = _last(statements, "body")
    return None if value is None else str(value)


def train_of(facts: TrainFacts) -> TrainRef | None:
    """A train as frames refer to it, from its own description; None where nothing is known."""
    return TrainRef(fingerprint(facts), label(facts)) if facts.known else None


def train_facts(read: FrameFacts, statements: Iterable[Statement]) -> TrainFacts:
    """The train's description after what the user stated."""
    stated = _last(statements, "train")
    return replace(read.train, stated=str(stated)) if stated is not None else read.train


def readout_of(read: FrameFacts, measured: PixelFacts | None) -> Readout:
    """What must be equal before two frames can be compared, from file and pixels."""
    return Readout(
        gain=read.gain,
        iso=read.iso,
        offset=read.offset,
        binning=read.binning,
        readout_mode=read.readout_mode,
        width=read.width,
        height=read.height,
        origin_x=read.origin_x,
        origin_y=read.origin_y,
        cfa=read.cfa,
        row_order=read.row_order,
        bits=read.bits,
        dn_step=measured.dn_step if measured else None,
        black_dn=read.black_dn,
        white_dn=read.white_dn,
    )


def moment_of(record: FrameRecord, statements: Iterable[Statement]) -> tuple[datetime | None, str | None]:
    """Start of the exposure (aware) and how it is known: user, header, header_in_zone, with `+clock` where shifted."""
    statements = tuple(statements)
    stated = _last(statements, "taken_at")
    if stated is not None:
        return localised(datetime.fromisoformat(str(stated)), record.zone), "user"
    taken = record.read.taken_at
    if taken is None:
        return None, None
    source = "header" if taken.tzinfo is not None else "header_in_zone"
    shift = _last(statements, "clock_shift_s")
    # FITS files are written by computers, whose clocks change over; a camera's goes on as it was set.
    taken = localised(taken, record.zone, steady=record.read.format != "fits")
    if shift is not None:
        return taken + timedelta(seconds=float(shift)), source + "+clock"
    return taken, source


def _combined(read: FrameFacts, measured: PixelFacts | None, kind: Kind | None) -> Combined | None:
    """What a frame is a combination of; whether a flat was brought to a level of one is seen in its pixels."""
    combined = read.combined
    if combined is None or combined.normalised is not None or measured is None or kind is not Kind.FLAT:
        return combined
    return replace(combined, normalised=not measured.exact and 0.0 < measured.median_dn < NORMALISED_BELOW_DN)


def night_by_itself(record: FrameRecord, taken_at: datetime) -> str:
    """The night of a frame that was taken then (aware), whatever other frames there are."""
    return night_of(taken_at, record.zone, _longitude(record))


def shot_early(record: FrameRecord, taken_at: datetime) -> bool:
    """Whether it was then early in the afternoon, when flats of the morning after are still shot."""
    return after_noon_s(taken_at, record.zone, _longitude(record)) < EARLY_AFTERNOON_S


def _longitude(record: FrameRecord) -> float | None:
    return record.read.longitude_deg if record.read.longitude_deg is not None else record.longitude_deg


def frame_of(
    record: FrameRecord,
    statements: Iterable[Statement] = (),
    *,
    body: BodyRef | None = None,
    train: TrainRef | None = None,
    retired: bool = False,
    series: str | None = None,
    night: str | None = None,
) -> Frame:
    """The outcome of all facts of one frame.

    statements: in order of time, undone ones left out; the last one on a field wins, and value None takes it back.
    body, train: what the catalogue knows them as (joined, labelled); else they are made from the file's own words.
    night: where other frames decide it (`facts/night`); else that of the frame by itself.
    """
    statements = tuple(statements)
    read, measured = record.read, record.measured
    kind, kind_from, confidence = record.decision.kind, record.decision.source, record.decision.confidence
    stated_kind = _last(statements, "kind")
    if stated_kind is not None:
        kind, kind_from, confidence = Kind(str(stated_kind)), KindFrom.USER, 1.0
    temperature, error, source = read.sensor_temperature_c, HEADER_TEMPERATURE_ERROR_C, TemperatureFrom.HEADER
    if read.temperature_origin == "makernote":
        error, source = MAKERNOTE_TEMPERATURE_ERROR_C, TemperatureFrom.MAKERNOTE
    stated_temperature = _last(statements, "temperature_c")
    if stated_temperature is not None:
        temperature, source = float(stated_temperature), TemperatureFrom.USER
    taken_at, time_from = moment_of(record, statements)
    warnings = read.warnings + record.decision.warnings
    if taken_at is None:
        warnings += (FrameWarning("time_missing", WARNINGS["time_missing"]),)
    stated_exposure = _last(statements, "exposure_s")
    stated_target = _last(statements, "target")
    stated_filter = _last(statements, "filter")
    return Frame(
        id=record.id,
        sha256=record.sha256,
        size=record.size,
        path=record.path,
        in_place=record.in_place,
        source_path=record.source_path,
        kind=kind,
        kind_from=kind_from if kind is not None else None,
        kind_confidence=confidence,
        body=body or body_of(read, statements),
        readout=readout_of(read, measured),
        cfa_rows=read.cfa_rows,
        cfa_columns=read.cfa_columns,
        exposure_s=float(stated_exposure) if stated_exposure is not None else read.exposure_s,
        temperature_c=temperature,
        temperature_error_c=error if temperature is not None else None,
        temperature_from=source if temperature is not None else None,
        set_temperature_c=read.set_temperature_c,
        filter=str(stated_filter) if stated_filter is not None else read.filter,
        train=train or train_of(train_facts(read, statements)),
        target=str(stated_target) if stated_target is not None else read.target,
        taken_at=taken_at,
        time_from=time_from,
        night=(night or night_by_itself(record, taken_at)) if taken_at is not None else None,
        combined=_combined(read, measured, kind),
        row_order=read.row_order,
        median_dn=measured.median_dn if measured else None,
        mad_dn=measured.mad_dn if measured else None,
        saturated_fraction=measured.saturated_fraction if measured else None,
        in_camera_subtraction=_subtracted(read, warnings),
        rotator_deg=read.rotator_deg,
        focuser_position=read.focuser_position,
        warnings=warnings,
        retired=retired,
        series=series,
    )


def inferred_counts(known_from: TemperatureFrom | None) -> bool:
    """Whether a temperature inferred from other frames is a frame's own: where nobody stated and no file told one."""
    return known_from in (None, TemperatureFrom.PIXELS)


def _subtracted(read: FrameFacts, warnings: Iterable[FrameWarning]) -> bool | None:
    """Whether the camera took its own dark off: as the file says, or as two witnesses of the frame's series show."""
    if any(warning.code == "in_camera_subtraction" for warning in warnings):
        return True
    return read.in_camera_subtraction


def _last(statements: Iterable[Statement], field: str) -> str | float | None:
    value: str | float | None = None
    for statement in statements:
        if statement.field == field:
            value = statement.value
    return value
