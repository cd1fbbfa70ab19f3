"""The screens of what the stock serves: tonight, and as a picture of degrees and exposures."""

from collections.abc import Sequence

from darklib.facts.plan import Cell, Coverage, Served
from darklib.jobs.results import GapsResult
from darklib.show import text, words
from darklib.show.out import Out
from darklib.show.table import Column, table


def tonight(out: Out, result: GapsResult) -> None:
    """What the stock serves already, best first."""
    rows = result.tonight or ()
    if rows:
        out.heading("What is served already, best first")
        together: dict[str, list[Served]] = {}
        for row in rows:
            together.setdefault(words.camera_and_setting(row.body, row.readout), []).append(row)
        for camera, some in together.items():
            out.paragraph(camera, indent=2)
            _served_table(out, some)
    else:
        out.line("There is nothing to tell yet: no darks, or no temperatures.")
    if result.tonight_note:
        out.paragraph(result.tonight_note, indent=2)
    out.next("darklib gaps --expect '300s 8:12C'", "tells what lights like these would lack")


def _served_table(out: Out, rows: Sequence[Served]) -> None:
    table(
        out,
        (
            Column("exposure", right=True),
            Column("temp.", right=True),
            Column("served"),
            Column("darks", right=True),
            Column("age", right=True, keep=1),
            Column("time cost", right=True, keep=2),
            Column("used so far", right=True, keep=3),
        ),
        [
            (
                text.exposure(row.exposure_s),
                text.temperature(row.low_c) if row.set_point else text.spread(row.low_c, row.high_c),
                words.verdict(row.verdict),
                str(row.frames) if row.frames else "",
                text.age(row.age_days) if row.age_days is not None else "",
                f"{row.time_cost_percent:.0f}%" if row.time_cost_percent is not None else "",
                text.minutes(row.used_seconds / 60) if row.used_seconds else "",
            )
            for row in rows
        ],
        indent=4,
    )


def pictures(out: Out, result: GapsResult) -> None:
    """The pictures of what there is, where they were asked for."""
    for picture in result.coverage or ():
        out.line()
        coverage(out, picture)


COLUMN = 14
"""Columns a cell of the picture takes at most: `20 (120) +12`, and the gap."""


def coverage(out: Out, picture: Coverage) -> None:
    """A grid of degrees and exposures: darks that exist, in brackets lights that ask, with a plus what lacks."""
    out.heading(f"Darks by temperature and exposure: {words.camera_and_setting(picture.body, picture.readout)}")
    exposures = sorted({cell.exposure_s for cell in picture.cells})
    degrees = sorted({cell.degree_c for cell in picture.cells}, reverse=True)
    cells = {(cell.degree_c, cell.exposure_s): cell for cell in picture.cells}
    at_once = len(exposures) if out.width is None else max(1, (out.width - 10) // COLUMN)
    for start in range(0, len(exposures), at_once):
        some = exposures[start : start + at_once]
        rows = []
        for degree in degrees:
            told = [_cell(cells.get((degree, exposure))) for exposure in some]
            if any(told):
                rows.append((f"{degree} C", *told))
        table(
            out,
            (Column("", right=True), *(Column(text.exposure(exposure), right=True) for exposure in some)),
            rows,
            indent=2,
        )
    out.paragraph("20 darks there are, (34) lights ask for them, +12 are to be shot at that degree.", indent=2)
    if picture.unknown:
        out.paragraph(
            f"{text.some(picture.unknown, 'frame')} of unknown temperature or exposure are not in it.", indent=2
        )


def _cell(cell: Cell | None) -> str:
    if cell is None:
        return ""
    parts = [str(cell.have) if cell.have else "-"]
    parts += [f"({cell.lights})"] if cell.lights else []
    parts += [f"+{cell.lacking}"] if cell.lacking else []
    return " ".join(parts)
