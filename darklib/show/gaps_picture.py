"""What there is, what lights ask for and what lacks, by temperature and exposure, as a picture file's bytes."""

import io
from collections.abc import Sequence
from typing import Any

from darklib.facts.plan import Coverage
from darklib.show import text, words

MOST_PICTURES = 12
"""So many cameras and settings fit on a page that can still be read."""


def picture(pictures: Sequence[Coverage], form: str) -> bytes:
    """One grid for each body and readout, those with most lights first. form: png or svg.

    Darks are squares, lights rings, what lacks crosses; each with its number, so that no colour carries a meaning.
    """
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    chosen = sorted(pictures, key=lambda one: -sum(cell.lights for cell in one.cells))[:MOST_PICTURES]
    with mpl.rc_context({"svg.hashsalt": "darklib", "svg.fonttype": "path"}):
        figure = Figure(figsize=(9.0, max(3.0, 4.5 * len(chosen))), layout="constrained")
        FigureCanvasAgg(figure)
        if not chosen:
            axes = figure.subplots()
            axes.text(0.5, 0.5, "no darks and no lights yet", ha="center", va="center", transform=axes.transAxes)
            axes.set_axis_off()
        for place, one in enumerate(chosen):
            _grid(figure.add_subplot(len(chosen), 1, place + 1), one)
        out = io.BytesIO()
        # No date in it: the same figures make the same file.
        figure.savefig(out, format=form, dpi=120, metadata={"Date": None} if form == "svg" else {"Software": None})
    return out.getvalue()


def _grid(axes: Any, one: Coverage) -> None:
    exposures = sorted({cell.exposure_s for cell in one.cells})
    column = {exposure: place for place, exposure in enumerate(exposures)}
    marks = (
        ("have", "s", "C0", -0.22, "darks there"),
        ("lights", "o", "C1", 0.0, "lights that ask"),
        ("lacking", "x", "C3", 0.22, "darks to shoot"),
    )
    for name, marker, colour, shift, label in marks:
        cells = [cell for cell in one.cells if getattr(cell, name)]
        if not cells:
            continue
        at = [column[cell.exposure_s] + shift for cell in cells]
        degrees = [cell.degree_c for cell in cells]
        face = colour if marker != "o" else "none"
        axes.scatter(at, degrees, marker=marker, s=30, label=label, **_colours(marker, colour, face))
        for x, cell in zip(at, cells, strict=True):
            axes.annotate(
                str(getattr(cell, name)), (x, cell.degree_c), xytext=(4, 2), textcoords="offset points", fontsize=7
            )
    # Names come out of files; a dollar sign must not start mathematics.
    axes.set_title(words.camera_and_setting(one.body, one.readout), fontsize="medium", parse_math=False)
    axes.set_xticks(list(column.values()), [text.exposure(exposure) for exposure in exposures])
    axes.set_xlim(-0.6, max(len(exposures) - 0.4, 0.6))
    axes.set_ylabel("sensor temperature, degrees C")
    axes.grid(axis="y", color="0.9")
    if axes.get_legend_handles_labels()[0]:
        axes.legend(fontsize="small")


def _colours(marker: str, colour: str, face: str) -> dict[str, str]:
    return {"c": colour} if marker == "x" else {"facecolors": face, "edgecolors": colour}
