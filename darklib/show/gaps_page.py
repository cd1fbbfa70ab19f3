"""The plan as one page to take along: text, a table for a spreadsheet, or HTML, with boxes to tick and the cautions."""

import csv
import io
from html import escape

from darklib.facts.frame import Kind
from darklib.facts.plan import Step
from darklib.jobs.results import GapsResult
from darklib.planning.cautions import MANUAL
from darklib.show import plan_screen, text, words
from darklib.show.gaps_screen import habit_line

WIDTH = 78
"""Columns of the text page: any printer has them."""

BOXES_A_LINE = 10

HEAD = (
    "step", "kind", "camera", "setting", "exposure_s", "temperature_c", "low_c", "high_c", "where", "frames", "minutes",
    "settling_minutes", "bytes", "serves_lights", "done",
)  # fmt: skip

STYLE = (
    "body{font:11pt/1.35 sans-serif;max-width:60em;margin:1em auto;padding:0 1em}"
    "table{border-collapse:collapse;width:100%}td,th{border:1px solid #777;padding:.2em .4em;text-align:left;"
    "vertical-align:top}td.n{text-align:right}.b{letter-spacing:.15em}@media print{body{margin:0}}"
)


def page(result: GapsResult, form: str) -> str:
    """The page in that form: text, csv or html. The csv holds the steps alone, since a spreadsheet is no page."""
    return {"text": _text, "csv": _csv, "html": _html}[form](result)


def _steps(result: GapsResult) -> tuple[Step, ...]:
    return result.plan.steps if result.plan is not None else ()


def _title(result: GapsResult) -> str:
    plan = result.plan
    if plan is None or not plan.steps:
        return "Darks to shoot: none"
    count = text.some(len(plan.steps), "step")
    return f"Darks to shoot: {count}, {text.minutes(plan.total_minutes)}{plan_screen.space(plan.bytes)}"


def _cautions(result: GapsResult) -> list[str]:
    """The makers' manuals first, then the rest in their order."""
    if not result.cautions:
        return []
    return [MANUAL, *(one for one in result.cautions if one != MANUAL)]


def _told(step: Step) -> str:
    """`20 darks, 300 s, at 5.0 C (3.0 to 7.0 C count), outdoors or fridge, 2 h 01 min`."""
    parts = [plan_screen.frames_of(step)]
    parts.append("shortest exposure" if step.kind is Kind.BIAS else text.exposure(step.exposure_s))
    if step.temperature_c is not None:
        counts = f" ({text.spread(step.low_c, step.high_c)} count)" if step.low_c is not None else ""
        parts.append(f"at {text.temperature(step.temperature_c)}{counts}")
    if plan_screen.where(step):
        parts.append(plan_screen.where(step))
    parts.append(text.minutes(step.minutes))
    if step.settling_minutes:
        parts[-1] += f" with {text.minutes(step.settling_minutes)} of settling"
    parts.append(f"for {text.some(step.serves_lights, 'light')}")
    return text.harmless(", ".join(parts))


def _boxes(count: int) -> list[str]:
    """A box for each frame, ten a line."""
    lines = []
    while count > 0:
        lines.append(" ".join(["[ ]"] * min(count, BOXES_A_LINE)))
        count -= BOXES_A_LINE
    return lines


def _text(result: GapsResult) -> str:
    from darklib.show.out import Out

    stream = io.StringIO()
    out = Out(stream, WIDTH, quiet=True)
    out.heading(_title(result))
    out.line("=" * min(WIDTH, len(_title(result))))
    for caution in _cautions(result):
        out.paragraph(f"- {caution}", hang=2)
    camera = ""
    for number, step in enumerate(_steps(result), start=1):
        own = words.camera_and_setting(step.body, step.readout)
        if own != camera:
            camera = own
            out.line()
            out.paragraph(camera)
        out.paragraph(f"[ ] {number}. {_told(step)}", hang=4)
        for line in _boxes(step.frames):
            out.line(f"      {line}")
    if result.plan is not None:
        out.line()
        for note in plan_screen.plan_notes(result.plan):
            out.paragraph(note)
    plan_screen.cool_downs(out, result.cool_downs)
    for gap in result.gaps:
        if gap.remedy:
            out.paragraph(f"{words.ROLES.get(gap.role, gap.role)}: {gap.remedy}", hang=4)
    if result.habit is not None:
        out.line()
        out.paragraph(habit_line(result.habit))
    return stream.getvalue()


def _csv(result: GapsResult) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")  # as RFC 4180 has it
    writer.writerow(HEAD)
    for number, step in enumerate(_steps(result), start=1):
        writer.writerow(
            _plain(value)
            for value in (
                number, step.kind.value, words.camera(step.body), words.setting(step.readout), step.exposure_s,
                step.temperature_c, step.low_c, step.high_c, plan_screen.where(step), step.frames, step.minutes,
                step.settling_minutes, step.bytes, step.serves_lights, "",
            )
        )  # fmt: skip
    return stream.getvalue()


def _plain(value: str | float | None) -> str | float:
    """A cell that no spreadsheet takes for a formula: names of cameras come out of files."""
    if value is None:
        return ""
    if isinstance(value, str):
        value = text.harmless(value)
        return f"'{value}" if value[:1] in ("=", "+", "-", "@") else value
    return value


def _html(result: GapsResult) -> str:
    def safe(value: str) -> str:
        return escape(text.harmless(value))

    title = safe(_title(result))
    parts = [
        f'<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8"><title>{title}</title>',
        f"<style>{STYLE}</style></head>\n<body>\n<h1>{title}</h1>",
    ]
    cautions = _cautions(result)
    if cautions:
        parts.append("<h2>Before you shoot</h2>\n<ul>")
        parts += [f"<li>{safe(one)}</li>" for one in cautions]
        parts.append("</ul>")
    if _steps(result):
        parts.append("<table>\n<tr><th>done</th><th>step</th><th>camera</th><th>what to shoot</th><th>frames</th></tr>")
        for number, step in enumerate(_steps(result), start=1):
            boxes = "<br>".join(line.replace("[ ]", "&#9744;") for line in _boxes(step.frames))
            camera = safe(words.camera_and_setting(step.body, step.readout))
            parts.append(
                f'<tr><td>&#9744;</td><td class="n">{number}</td><td>{camera}</td><td>{safe(_told(step))}</td>'
                f'<td class="b">{boxes}</td></tr>'
            )
        parts.append("</table>")
    if result.plan is not None:
        parts += [f"<p>{safe(note)}</p>" for note in plan_screen.plan_notes(result.plan)]
    if result.cool_downs:
        parts.append(f"<h2>Or cool-down runs</h2>\n<p>{safe(plan_screen.HOW_TO_COOL_DOWN)}</p>")
        for name, lines in plan_screen.cool_downs_told(result.cool_downs):
            parts.append(f"<p>{safe(name)}: {safe(' '.join(lines))}</p>")
    remedies = [f"{words.ROLES.get(gap.role, gap.role)}: {gap.remedy}" for gap in result.gaps if gap.remedy]
    parts += [f"<p>{safe(line)}</p>" for line in dict.fromkeys(remedies)]
    if result.habit is not None:
        parts.append(f"<p>{safe(habit_line(result.habit))}</p>")
    parts.append("</body>\n</html>")
    return "\n".join(parts) + "\n"
