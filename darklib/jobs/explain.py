"""Everything that is known of one frame: each fact, where it came from, what was ignored and why, every amendment."""

from pathlib import Path

from darklib.facts.codes import SET_ASIDE
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Combined, Fact, Frame, FrameFacts, FrameRecord, Ignored, Kind, KindFrom, PixelFacts
from darklib.facts.resolve import frame_of, night_by_itself
from darklib.facts.settings import Site
from darklib.facts.units import iso_z
from darklib.jobs.hot_pixel_facts import hot_pixel_facts
from darklib.jobs.ids import frames_meant
from darklib.jobs.library import Opened
from darklib.jobs.results import Amendment, ExplainResult, SetAsideFile
from darklib.store.names import shown
from darklib.store.seam import Seam

WITHOUT_LIBRARY_ZONE = "Etc/UTC"


def explain(opened: Opened | None, text: str) -> ExplainResult:
    """All that is known of a frame of the library (by id or path), or of a file that was never taken in.

    opened: None where there is no library; a file can be explained all the same.
    """
    seam = opened.seam if opened else Seam()
    path = seam.absolute(text)
    if opened is not None:
        try:
            shas = frames_meant(opened, [text])
        except DarklibError as error:
            if error.code != "not_found" or not _is_file(seam, path):
                raise
        else:
            if len(shas) > 1:
                raise DarklibError(
                    "ambiguous",
                    f"{shown(text)!r} means {len(shas)} frames; one can be explained at a time.",
                    remedy="`darklib frames --ids` lists single frames.",
                )
            return _stored(opened, shas[0])
    if not _is_file(seam, path):
        raise DarklibError(
            "not_found", f"There is no file {shown(str(path))}.", path=shown(str(path)), remedy="Check the name."
        )
    return _looked_at(opened, path)


def _is_file(seam: Seam, path: Path) -> bool:
    return seam.exists(path) and not seam.is_folder(path)


def _stored(opened: Opened, sha256: str) -> ExplainResult:
    record = opened.catalogue.record(sha256)
    frame = opened.catalogue.frames_by_id([sha256])[0]
    rows = opened.catalogue.statements(sha256)
    return ExplainResult(
        path=opened.absolute(frame.path),
        stored=True,
        frame=frame,
        facts=_facts(record, frame) + hot_pixel_facts(opened, frame),
        ignored=record.read.ignored + _unused(opened.absolute(frame.path)),
        amendments=tuple(
            Amendment(row.field, row.value, row.old, row.note or "", row.at, row.run, row.undone_by is not None)
            for row in rows
        ),
        sources=tuple(row.path for row in opened.catalogue.sources(sha256)),
        kind_why=_why(record, frame),
    )


def _looked_at(opened: Opened | None, path: Path) -> ExplainResult:
    from darklib.kinds.groups import Candidate, decide
    from darklib.readers.guard import Guard

    with Guard(1) as guard:
        look = next(iter(guard.map([str(path)])))
    name = shown(str(path))
    if opened is not None and look.sha256 and opened.catalogue.known(look.sha256):
        return _stored(opened, look.sha256)
    if look.facts is None:
        code = look.refusal.code if look.refusal else "no_image"
        reason = look.refusal.text if look.refusal else SET_ASIDE["no_image"]
        return ExplainResult(name, False, None, refusal=SetAsideFile(name, reason, code))
    candidate = Candidate(look.facts, look.pixels, (shown(path.parent.name),), shown(path.name), None)
    decision = decide([candidate])[0]
    site = opened.settings.site if opened else Site(timezone=WITHOUT_LIBRARY_ZONE)
    record = FrameRecord(
        look.sha256, look.size, name, True, look.facts, look.pixels, decision, site.timezone, name, look.modified,
        site.longitude_deg,
    )  # fmt: skip
    frame = frame_of(record)
    refusal = SetAsideFile(name, look.refusal.text, look.refusal.code) if look.refusal else None
    return ExplainResult(
        name,
        False,
        frame,
        _facts(record, frame),
        record.read.ignored + _unused(str(path)),
        kind_why=decision.why,
        refusal=refusal,
    )


def _facts(record: FrameRecord, frame: Frame) -> tuple[Fact, ...]:
    """The facts as read, then as measured, then what was worked out from them."""
    facts = list(record.read.facts) + _of_the_whole(record.read)
    if record.measured is not None:
        facts += _measured(record.measured)
    if frame.kind is not None and frame.kind_from is not None:
        where = f"confidence {frame.kind_confidence:.2f}"
        facts.append(Fact("kind", frame.kind.value, "", frame.kind_from.value, where, "", _why(record, frame)))
    facts += _night(record, frame)
    return tuple(facts)


def _of_the_whole(read: FrameFacts) -> list[Fact]:
    """What the form of the file tells, or several of its facts together, where no single keyword or tag has it."""
    told = {fact.name for fact in read.facts}
    combined = read.combined or Combined()
    x, y = read.binning
    parts: list[tuple[str, str | int | float | bool | None, str]] = [
        ("format", read.format, ""),
        ("width", read.width, "px"),
        ("height", read.height, "px"),
        ("bits", read.bits, ""),
        ("cfa", read.cfa, ""),
        ("compression", read.compression, ""),
        ("demosaiced", read.demosaiced or None, ""),
        ("origin_x", read.origin_x, "px"),
        ("origin_y", read.origin_y, "px"),
        ("binning", f"{x}x{y}" if "binning_x" not in told else None, ""),
        ("combined_count", combined.count, ""),
        ("combined_bias_removed", combined.bias_removed, ""),
        ("combined_normalised", combined.normalised, ""),
    ]
    facts = [
        Fact(name, value, unit, "structure", "file", "")
        for name, value, unit in parts
        if value is not None and (name not in told or name == "cfa")
    ]
    if read.taken_at is not None and "taken_at" not in told:
        aware = read.taken_at.tzinfo is not None
        text = iso_z(read.taken_at) if aware else read.taken_at.isoformat()
        note = "" if aware else "no zone in the file: read in the library's"
        facts.append(Fact("taken_at", text, "", "exif", read.time_origin or "", "", note))
    return facts


def _unused(path: str) -> tuple[Ignored, ...]:
    """The keywords that tell nothing, in one entry."""
    from darklib.readers.unused import unused_keywords

    found = unused_keywords(path)
    return (Ignored("", ", ".join(found), "keywords that tell nothing darklib needs"),) if found else ()


def _night(record: FrameRecord, frame: Frame) -> list[Fact]:
    """The night, and why it is another than the clock's where other frames decide it."""
    if frame.night is None or frame.taken_at is None:
        return []
    own = night_by_itself(record, frame.taken_at)
    note = ""
    if own != frame.night:
        note = f"by the clock {own}; " + (
            "an unbroken run of lights is one night"
            if frame.kind is Kind.LIGHT
            else "flats of the morning after belong to the lights before them"
        )
    return [Fact("night", frame.night, "", "inferred", f"local noon to noon in {record.zone}", "", note)]


def _why(record: FrameRecord, frame: Frame) -> str:
    """Why the frame is of its kind: what was found at ingest says nothing of a kind that was corrected since."""
    amended = frame.kind_from is KindFrom.USER and record.decision.source is not KindFrom.USER
    return "stated by the user" if amended else record.decision.why


def _measured(measured: PixelFacts) -> list[Fact]:
    where = f"version {measured.version}"
    levels: list[tuple[str, float | int | None, str]] = [
        ("median_dn", measured.median_dn, "DN"),
        ("mad_dn", measured.mad_dn, "DN"),
        ("mean_dn", measured.mean_dn, "DN"),
        ("sd_dn", measured.sd_dn, "DN"),
        ("min_dn", measured.min_dn, "DN"),
        ("max_dn", measured.max_dn, "DN"),
        ("saturated_fraction", measured.saturated_fraction, ""),
        ("dn_step", measured.dn_step, "DN"),
    ]
    step = measured.dn_step or 1
    shifted = f"shifted up by {step.bit_length() - 1} bits" if step > 1 and step & (step - 1) == 0 else ""
    notes = {
        "dn_step": shifted,
        "median_dn": "" if measured.exact else "of fractions or 32 bits, not exact",
    }
    facts = [Fact(name, value, unit, "pixels", where, "", notes.get(name, "")) for name, value, unit in levels]
    facts += [
        Fact(f"median_dn_{plane.colour}", plane.median_dn, "DN", "pixels", where, "")
        for plane in measured.planes
        if plane.colour
    ]
    return facts
