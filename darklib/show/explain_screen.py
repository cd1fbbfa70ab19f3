"""The screen of one frame: what it is, every fact with its source, what was ignored and why, every amendment."""

from darklib.facts.codes import WARNINGS
from darklib.facts.frame import Fact, Frame
from darklib.jobs.results import ExplainResult
from darklib.show import text, words
from darklib.show.out import Out
from darklib.show.table import Column, table


def explain(out: Out, result: ExplainResult) -> None:
    """Everything known of one file."""
    out.heading(result.path)
    if result.refusal is not None:
        out.entry("Not usable", (text.sentence(result.refusal.reason), "red"))
    if result.frame is not None:
        _frame(out, result.frame, result)
    for place in result.sources:
        out.entry("Seen at", place)
    if result.facts:
        out.line()
        out.heading("Facts")
        table(
            out,
            (
                Column("fact", rigid=True),
                Column("value"),
                Column("from", rigid=True),
                Column("where"),
                Column("as written"),
                Column("note"),
            ),
            [
                (
                    fact.name,
                    _value(fact),
                    fact.origin,
                    fact.where,
                    _raw(fact),
                    fact.note,
                )
                for fact in result.facts
            ],
            indent=2,
        )
    if result.ignored:
        out.line()
        out.heading("Ignored")
        table(
            out,
            (Column("where"), Column("as written"), Column("why")),
            [(item.where, item.raw, item.why) for item in result.ignored],
            indent=2,
        )
    if result.amendments:
        out.line()
        out.heading("Amendments")
        for item in result.amendments:
            value = _plain(item.value)
            if item.field == "clock_shift_s" and isinstance(item.value, float):
                value = f"clock {item.value:+g} s"
            told = f"{text.moment(item.at)}  {item.field}: {_plain(item.old)} -> {value}"
            if item.note:
                told += f" ({item.note})"
            out.paragraph(told + ("; undone since" if item.undone else ""), indent=2, hang=4)
    _next(out, result)


def _frame(out: Out, frame: Frame, result: ExplainResult) -> None:
    out.entry("Id", f"{frame.id}{'' if result.stored else ' (not in the library)'}")
    why = f": {result.kind_why}" if result.kind_why else ""
    source = f", from {frame.kind_from.value}" if frame.kind_from else ""
    out.entry("Kind", (words.kind(frame), "yellow" if frame.kind is None else ""), f"{source}{why}")
    out.entry("Camera", words.camera(frame.body))
    out.entry("Exposure", f"{text.exposure(frame.exposure_s)}, {words.setting(frame.readout)}")
    out.entry("Sensor", _temperature(frame))
    out.entry(
        "Picture", ", ".join(part for part in (words.picture(frame.readout), frame.readout.cfa or "") if part) or "?"
    )
    out.entry("Optics", ", ".join(part for part in (words.optics(frame.train), frame.filter, frame.target) if part))
    out.entry("Taken", f"{text.moment(frame.taken_at)}, night {frame.night or '?'}{_time_from(frame)}")
    if frame.median_dn is not None:
        saturated = f", {frame.saturated_fraction:.2%} saturated" if frame.saturated_fraction is not None else ""
        out.entry("Level", f"median {text.number(frame.median_dn)} DN{saturated}")
    if frame.dark_ratio is not None:
        ratio = frame.dark_ratio
        out.entry("Dark ratio", f"{ratio.value:.3f} +- {ratio.error:.3f} against the darks {ratio.against}")
    if frame.series:
        out.entry("Series", frame.series)
    if frame.retired:
        out.entry("Retired", "kept, but not matched")
    for warning in frame.warnings:
        out.entry("Warning", (text.sentence(warning.text or WARNINGS.get(warning.code, warning.code)), "yellow"))


def _temperature(frame: Frame) -> str:
    told = text.temperature(frame.temperature_c)
    if frame.temperature_c is None:
        return "temperature unknown"
    if frame.temperature_error_c is not None:
        told += f" +- {text.number(frame.temperature_error_c)}"
    if frame.temperature_from is not None:
        told += f", from {frame.temperature_from.value}"
    if frame.set_temperature_c is not None:
        told += f"; set to {text.temperature(frame.set_temperature_c)}"
    return told


def _time_from(frame: Frame) -> str:
    return f" (time from {frame.time_from.replace('_', ' ')})" if frame.time_from else ""


def _value(fact: Fact) -> str:
    if fact.value is None:
        return "?"
    if isinstance(fact.value, bool):
        return "yes" if fact.value else "no"
    shown = text.number(fact.value) if isinstance(fact.value, float) else str(fact.value)
    return f"{shown} {'C' if fact.unit == 'degC' else fact.unit}".rstrip()


def _raw(fact: Fact) -> str:
    """The text in the file, where it says more than the value."""
    bare = fact.raw.strip("' ")
    same = bare in (str(fact.value), text.number(fact.value) if isinstance(fact.value, float) else "")
    return "" if same else fact.raw


def _plain(value: str | float | bool | None) -> str:
    if value is None:
        return "as in the file"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return text.number(value) if isinstance(value, float) else str(value)


def _next(out: Out, result: ExplainResult) -> None:
    if result.frame is None:
        out.next("darklib set-aside", "lists what could not be taken in")
    elif not result.stored:
        out.next("darklib ingest PATH", "takes it in")
    else:
        out.next(f"darklib amend {result.frame.id} --kind KIND", "corrects what is wrong; see `darklib amend --help`")
