"""What a FITS header says of its frame."""

from dataclasses import replace

from darklib.facts.frame import Combined, Fact, FrameFacts, FrameWarning, Ignored, Kind
from darklib.facts.train import TrainFacts
from darklib.facts.units import exposures_equal, iso_z
from darklib.readers.answers import Refused
from darklib.readers.dialect_reading import Reading, read_cards, warning
from darklib.readers.fits_blocks import AtMost, Unit, strange_keywords, units
from darklib.readers.fits_time import start_doubtful, started_at

_COMPARED = {
    "gain": 0.0, "iso": 0.0, "e_per_dn": 0.01, "offset": 0.0, "sensor_temperature_c": 0.5, "set_temperature_c": 0.5,
    "binning_x": 0.0, "binning_y": 0.0, "focal_length_mm": 1.0, "rotator_deg": 0.5, "latitude_deg": 0.1,
    "longitude_deg": 0.1,
}  # fmt: skip
"""Fields of which two spellings in one header must agree, and within what."""

_COMPARED_WORDS = ("kind", "filter", "cfa", "row_order", "readout_mode", "serial")
"""Fields of which two spellings must say the same but for capitals and blanks; bare numbers are codes."""


def image_unit(read: AtMost, size: int) -> tuple[Unit, tuple[Unit, ...]]:
    """The first image of at least two axes, and all units. Raises Refused 'no_image', 'damaged' or 'truncated'."""
    walked: list[Unit] = []
    found: Unit | None = None
    try:
        for unit in units(read, size):
            walked.append(unit)
            simple = unit.form.structure.get("SIMPLE")
            if unit.number == 0 and simple is not None and simple.value is not True:
                raise Refused("unsupported", "the file says itself that it does not follow the FITS standard")
            if found is None and unit.form.is_image:
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
    headers = [(image.raw, image.layout)]
    if image.number:
        headers.append((walked[0].raw, walked[0].layout))
    reading = read_cards(headers)
    reading.warnings += [
        odd for unit in {walked[0].number: walked[0], image.number: image}.values() for odd in _odd(unit)
    ]
    get = reading.values.get
    exposure = get("exposure_s")
    taken_at, time_origin, time_note = started_at(reading.values, reading.where, exposure)
    if taken_at is not None:
        text = taken_at.isoformat() if taken_at.tzinfo is None else iso_z(taken_at)
        reading.facts.append(Fact("taken_at", text, "", "header", time_origin or "", "", time_note))
    doubt = start_doubtful(reading.values, reading.where, exposure)
    if doubt:
        reading.warnings.append(warning("values_disagree", doubt))
    _compare(reading)
    axes = image.form.axes
    combined = _combined(reading)
    section = _origin(reading)
    cfa = _cfa(reading)
    side = {4: 2, 36: 6}[len(cfa)] if cfa else None
    kind = get("kind") or get("kind_by_object")
    compression = _compression(image)
    if compression == "lossy":
        reading.warnings.append(warning("lossy", "it serves as a light, never as a dark, flat or bias"))
    if len(walked) > 1:
        others = sum(unit.form.is_image for unit in walked) - 1
        if others:
            reading.ignored.append(Ignored("", f"{others} more images", "only the first image of the file is used"))
    return FrameFacts(
        format="fits",
        kind=Kind(kind) if kind else None,
        make=get("make"),
        model=get("model"),
        serial=get("serial"),
        exposure_s=exposure,
        gain=get("gain"),
        iso=get("iso"),
        offset=get("offset"),
        e_per_dn=get("e_per_dn"),
        readout_mode=get("readout_mode"),
        # Of one side alone the other is the same: a header that lost the second card does not mean oblong pixels.
        binning=(get("binning_x", get("binning_y", 1)), get("binning_y", get("binning_x", 1))),
        width=axes[0],
        height=axes[1],
        origin_x=get("origin_x", section[0]),
        origin_y=get("origin_y", section[1]),
        cfa=cfa,
        cfa_rows=side,
        cfa_columns=side,
        row_order=get("row_order"),
        bits=image.form.bitpix if image.form.bitpix in (8, 16) else None,
        white_dn=get("white_dn"),
        sensor_temperature_c=get("sensor_temperature_c"),
        temperature_origin="header" if "sensor_temperature_c" in reading.values else None,
        set_temperature_c=get("set_temperature_c"),
        ambient_temperature_c=get("ambient_temperature_c"),
        filter=_filter(reading),
        train=_train(reading),
        focuser_position=get("focuser_position"),
        rotator_deg=get("rotator_deg"),
        pixel_size_um=get("pixel_size_um"),
        target=get("target"),
        taken_at=taken_at,
        time_origin=time_origin,
        latitude_deg=get("latitude_deg"),
        longitude_deg=get("longitude_deg"),
        pier_side=get("pier_side"),
        compression=compression,
        combined=combined,
        facts=tuple(reading.facts),
        ignored=tuple(reading.ignored),
        warnings=tuple(reading.warnings),
    )


def _odd(unit: Unit) -> tuple[FrameWarning, ...]:
    """A warning for a header in which something stands that nobody writes: a flipped bit may have taken a fact away."""
    strange = strange_keywords(unit.layout)
    if strange:
        shown = ", ".join(repr(name.decode("latin-1")) for name in strange[:3])
        return (warning("header_odd", f"{len(strange)} keywords that are none, as {shown}"),)
    return () if unit.blank_behind else (warning("header_odd", "more than blanks behind END"),)


def with_warning(facts: FrameFacts, *more: FrameWarning) -> FrameFacts:
    """The facts with further warnings."""
    return replace(facts, warnings=facts.warnings + more) if more else facts


def _compression(image: Unit) -> str:
    """lossy where tiles were scaled down (HCOMPRESS) or floating-point numbers quantised (section 10.2)."""
    if not image.form.compressed:
        return "none"
    said = {keyword: card.value for keyword, card in image.form.structure.items()}
    if said.get("ZCMPTYPE") == "HCOMPRESS_1":
        scales = [said.get(f"ZVAL{n}") for n in (1, 2) if said.get(f"ZNAME{n}") == "SCALE"]
        if any(isinstance(scale, (int, float)) and scale > 0 for scale in scales):
            return "lossy"
    if image.form.bitpix < 0 and said.get("ZQUANTIZ", "NO_DITHER") != "NONE":
        return "lossy"
    return "lossless"


def _origin(reading: Reading) -> tuple[int | None, int | None]:
    """Where the picture begins on the sensor by its section, in binned pixels from 0 (the section counts from 1)."""
    section: str | None = reading.values.get("sensor_section")
    if section is None:
        return None, None
    x, y = (int(span.split(":")[0]) - 1 for span in section.strip("[]").split(","))
    return x // reading.values.get("binning_x", 1), y // reading.values.get("binning_y", 1)


def _train(reading: Reading) -> TrainFacts:
    """The optics; of focal length, aperture and focal ratio any two give the third."""
    get = reading.values.get
    focal: float | None = get("focal_length_mm")
    aperture: float | None = get("aperture_mm")
    ratio: float | None = get("focal_ratio")
    if ratio is not None and focal is None and aperture is not None:
        focal = round(ratio * aperture, 3)
    elif ratio is not None and aperture is None and focal is not None:
        aperture = round(focal / ratio, 3)
    return TrainFacts(get("telescope"), focal, aperture, reducer=get("reducer"))


def _filter(reading: Reading) -> str | None:
    """One wheel's filter; of two wheels those that are not open, joined."""
    get = reading.values.get
    one: str | None = get("filter")
    if one is not None:
        return one
    if get("filter_1") is None and get("filter_2") is None and get("filter_place") is not None:
        where = reading.where["filter_place"]
        place = str(get("filter_place"))
        reading.warnings.append(warning("value_odd", f"{where} = {place}: a place in the wheel, not a name"))
        return place
    wheels = [str(get(field)) for field in ("filter_1", "filter_2") if get(field)]
    named = [name for name in wheels if not name.casefold().startswith(("clear", "none", "open", "empty"))]
    return "+".join(named) or next(iter(wheels), None)


def _cfa(reading: Reading) -> str | None:
    """The pattern from the first stored pixel on: shifted where the header says that it starts elsewhere."""
    pattern: str | None = reading.values.get("cfa")
    if pattern is None:
        return None
    side = {4: 2, 36: 6}[len(pattern)]
    dx, dy = reading.values.get("cfa_shift_x", 0), reading.values.get("cfa_shift_y", 0)
    return "".join(
        pattern[(row + dy) % side * side + (column + dx) % side] for row in range(side) for column in range(side)
    )


def _combined(reading: Reading) -> Combined | None:
    get = reading.values.get
    count: int | None = get("combined_count")
    if (count is None or count < 2) and get("combined") is not True:
        return None
    done: str = get("steps_done", "")
    bias_removed: bool | None = None
    if "bias_removed_by" in reading.values or "B" in done or "D" in done:
        bias_removed = True
    elif done or get("kind") == Kind.BIAS.value:
        # The letters list what was done; and a combined bias is the bias.
        bias_removed = False
    found = Combined(count if count and count > 1 else None, get("combined_method"), bias_removed, None)
    reading.warnings.append(warning("combined_frame", f"{found.count or 'an unknown number of'} frames"))
    return found


def _compare(reading: Reading) -> None:
    """Flags spellings of one fact that differ: EXPTIME against EXPOSURE, CCD-TEMP against TEMPERAT."""
    names = [fact.name for fact in reading.facts]
    if len(set(names)) == len(names):
        return
    for name in _COMPARED_WORDS:
        same = [fact for fact in reading.facts if fact.name == name and not fact.raw.strip("' ").isdigit()]
        if len({"".join(str(fact.value).casefold().split()) for fact in same}) > 1:
            said = ", ".join(f"{fact.where} = {fact.raw}" for fact in same)
            reading.warnings.append(warning("values_disagree", said))
    for name in (*_COMPARED, "exposure_s"):
        if names.count(name) < 2:
            continue
        facts = [fact for fact in reading.facts if fact.name == name]
        values = [float(fact.value) for fact in facts if isinstance(fact.value, (int, float))]
        said = ", ".join(f"{fact.where} = {fact.raw}" for fact in facts)
        if name == "exposure_s":
            if not exposures_equal(min(values), max(values)):
                reading.warnings.append(warning("exposures_disagree", said, least_s=min(values), most_s=max(values)))
        elif max(values) - min(values) > _COMPARED[name]:
            reading.warnings.append(warning("values_disagree", said))
