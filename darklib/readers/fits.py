"""What a FITS header says of its frame."""

from dataclasses import replace

from darklib.facts.frame import Combined, Fact, FrameFacts, FrameWarning, Ignored, Kind
from darklib.facts.train import TrainFacts
from darklib.facts.units import exposures_equal
from darklib.readers.answers import Refused
from darklib.readers.dialect_reading import Reading, read_cards, warning
from darklib.readers.fits_blocks import AtMost, Unit, units
from darklib.readers.fits_time import started_at

_COMPARED = {
    "gain": 0.0, "iso": 0.0, "e_per_dn": 0.01, "offset": 0.0, "sensor_temperature_c": 0.5, "set_temperature_c": 0.5,
    "binning_x": 0.0, "binning_y": 0.0, "focal_length_mm": 1.0,
}  # fmt: skip
"""Fields of which two spellings in one header must agree, and within what."""

_TIME_FIELDS = (
    "date_obs", "date_obs_is_local", "date_beg", "date_beg_is_local", "date_avg", "date_end", "date_local", "time_obs", "mjd_obs",
    "jd_obs", "time_scale",
)  # fmt: skip


def image_unit(read: AtMost, size: int) -> tuple[Unit, tuple[Unit, ...]]:
    """The first image of at least two axes, and all units. Raises Refused 'no_image', 'damaged' or 'truncated'."""
    walked: list[Unit] = []
    found: Unit | None = None
    try:
        for unit in units(read, size):
            walked.append(unit)
            simple = unit.structure.get("SIMPLE")
            if unit.number == 0 and simple is not None and simple.value is not True:
                raise Refused("unsupported", "the file says itself that it does not follow the FITS standard")
            if found is None and unit.is_image:
                found = unit
    except Refused:
        # Damage behind the image does no harm to it.
        if found is None:
            raise
    if found is None:
        raise Refused("no_image")
    return found, tuple(walked)


def facts_of(image: Unit, walked: tuple[Unit, ...]) -> FrameFacts:
    """The frame's facts: keywords of the image's own unit before those of the primary one."""
    headers = [image.raw] if image.number == 0 else [image.raw, walked[0].raw]
    reading = read_cards(headers)
    exposure = reading.number("exposure_s")
    told = {field: reading.first[field][1] for field in _TIME_FIELDS if field in reading.first}
    where = {field: reading.first[field][2] for field in told}
    taken_at, time_origin, time_note = started_at(told, where, exposure)
    if taken_at is not None:
        text = taken_at.isoformat()
        reading.facts.append(Fact("taken_at", text, "", "header", time_origin or "", text, time_note))
    _compare(reading)
    axes = image.axes
    combined = _combined(reading)
    if combined is not None:
        reading.warnings.append(warning("combined_frame", f"{combined.count or 'an unknown number of'} frames"))
    cfa = _cfa(reading)
    side = {4: 2, 36: 6}[len(cfa)] if cfa else None
    kind = reading.text("kind") or reading.text("kind_by_object")
    others = [unit for unit in walked if unit.is_image and unit.number != image.number]
    if others:
        reading.ignored.append(Ignored("", f"{len(others)} more images", "only the first image of the file is used"))
    binning = int(reading.number("binning_x") or 1), int(reading.number("binning_y") or 1)
    return FrameFacts(
        format="fits",
        kind=Kind(kind) if kind else None,
        make=reading.text("make"),
        model=reading.text("model"),
        serial=reading.text("serial"),
        exposure_s=exposure,
        gain=reading.number("gain"),
        iso=_whole(reading.number("iso")),
        offset=reading.number("offset"),
        e_per_dn=reading.number("e_per_dn"),
        readout_mode=reading.text("readout_mode"),
        binning=binning,
        width=axes[0],
        height=axes[1],
        origin_x=_whole(reading.number("origin_x")),
        origin_y=_whole(reading.number("origin_y")),
        cfa=cfa,
        cfa_rows=side,
        cfa_columns=side,
        row_order=reading.text("row_order"),
        bits=image.bitpix if image.bitpix in (8, 16) else None,
        white_dn=reading.number("white_dn"),
        sensor_temperature_c=reading.number("sensor_temperature_c"),
        temperature_origin="header" if "sensor_temperature_c" in reading.first else None,
        set_temperature_c=reading.number("set_temperature_c"),
        ambient_temperature_c=reading.number("ambient_temperature_c"),
        filter=_filter(reading),
        train=TrainFacts(
            reading.text("telescope"), reading.number("focal_length_mm"), reading.number("aperture_mm")
        ),
        focuser_position=reading.number("focuser_position"),
        rotator_deg=reading.number("rotator_deg"),
        pixel_size_um=reading.number("pixel_size_um"),
        target=reading.text("target"),
        taken_at=taken_at,
        time_origin=time_origin,
        latitude_deg=reading.number("latitude_deg"),
        longitude_deg=reading.number("longitude_deg"),
        pier_side=reading.text("pier_side"),
        compression="lossless" if image.compressed else "none",
        combined=combined,
        facts=tuple(reading.facts),
        ignored=tuple(reading.ignored),
        warnings=tuple(reading.warnings),
    )


def with_warning(facts: FrameFacts, *more: FrameWarning) -> FrameFacts:
    """The facts with further warnings."""
    return replace(facts, warnings=facts.warnings + more) if more else facts


def _whole(value: float | None) -> int | None:
    return None if value is None else int(value)


def _filter(reading: Reading) -> str | None:
    one = reading.text("filter")
    if one is not None:
        return one
    wheels = [reading.text(field) for field in ("filter_1", "filter_2")]
    named = [name for name in wheels if name and name.casefold() not in ("clear", "none", "open", "empty")]
    return "+".join(named) or next((name for name in wheels if name), None)


def _cfa(reading: Reading) -> str | None:
    """The pattern from the first stored pixel on: shifted where the header says that it starts elsewhere."""
    pattern = reading.text("cfa")
    if pattern is None:
        return None
    side = {4: 2, 36: 6}[len(pattern)]
    dx, dy = int(reading.number("cfa_shift_x") or 0), int(reading.number("cfa_shift_y") or 0)
    return "".join(pattern[(row + dy) % side * side + (column + dx) % side] for row in range(side) for column in range(side))


def _combined(reading: Reading) -> Combined | None:
    count = _whole(reading.number("combined_count"))
    if (count is None or count < 2) and reading.value("combined") is not True:
        return None
    done = reading.text("steps_done")
    bias_removed: bool | None = None
    if "bias_removed_by" in reading.first or (done is not None and ("B" in done or "D" in done)):
        bias_removed = True
    return Combined(count if count and count > 1 else None, reading.text("combined_method"), bias_removed, None)


def _compare(reading: Reading) -> None:
    """Flags spellings of one fact that differ: EXPTIME against EXPOSURE, CCD-TEMP against TEMPERAT."""
    by_field: dict[str, list[Fact]] = {}
    for fact in reading.facts:
        if fact.name in _COMPARED or fact.name == "exposure_s":
            by_field.setdefault(fact.name, []).append(fact)
    for name, facts in by_field.items():
        if len(facts) < 2:
            continue
        values = [float(fact.value) for fact in facts if isinstance(fact.value, (int, float))]
        said = ", ".join(f"{fact.where} = {fact.raw}" for fact in facts)
        if name == "exposure_s":
            if not exposures_equal(min(values), max(values)):
                reading.warnings.append(warning("exposures_disagree", said, least_s=min(values), most_s=max(values)))
        elif max(values) - min(values) > _COMPARED[name]:
            reading.warnings.append(warning("values_disagree", said))
