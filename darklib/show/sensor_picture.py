"""Dark current against temperature, and hot pixels over the years, as a picture file's bytes."""

import io
from collections.abc import Sequence
from datetime import date
from typing import Any

from darklib.facts.errors import DarklibError, Exit
from darklib.facts.sensor import SensorModel
from darklib.sensor.dark_law import rate_at
from darklib.show import words

FORMS = ("png", "svg")
STEPS = 120


def form_of(name: str) -> str:
    """The form a file's name asks for. Raises DarklibError (usage) for any but .png and .svg."""
    form = name.rpartition(".")[2].casefold() if "." in name else ""
    if form not in FORMS:
        raise DarklibError(
            "usage",
            f"A picture is written as .png or .svg, not as {name!r}.",
            remedy="Name the file with one of these endings.",
            status=Exit.USAGE,
        )
    return form


def picture(models: Sequence[SensorModel], form: str) -> bytes:
    """One picture of all models: measured points with errors, the laws, residuals below, hot pixels by night.

    form: png or svg.
    """
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with mpl.rc_context({"svg.hashsalt": "darklib", "svg.fonttype": "path"}):
        figure = Figure(figsize=(9.0, 9.0), layout="constrained")
        FigureCanvasAgg(figure)
        rates, rest, hot = figure.subplots(3, 1, height_ratios=(3, 1, 2))
        for number, model in enumerate(models):
            name = f"{words.camera(model.body)}, {words.setting(model.readout)}"
            _darks(rates, rest, model, name, f"C{number % 10}")
            _hot(hot, model, name, f"C{number % 10}")
        rates.set_yscale("log")
        rates.set_ylabel("dark current, e-/s")
        rest.axhline(0.0, color="0.7", linewidth=0.8)
        rest.set_ylabel("off the law, %")
        rest.set_xlabel("sensor temperature, degrees C")
        rest.sharex(rates)
        hot.set_ylabel("hot pixels per megapixel")
        hot.tick_params(axis="x", labelrotation=30.0)
        for axes in (rates, hot):
            if axes.get_legend_handles_labels()[0]:
                axes.legend(fontsize="small")
            else:
                axes.text(0.5, 0.5, "nothing measured yet", ha="center", va="center", transform=axes.transAxes)
                axes.set_yscale("linear")
        out = io.BytesIO()
        # No date in it: the same figures make the same file.
        figure.savefig(out, format=form, dpi=120, metadata={"Date": None} if form == "svg" else {"Software": None})
    return out.getvalue()


def _darks(rates: Any, rest: Any, model: SensorModel, name: str, colour: str) -> None:
    points = [one for one in model.dark_current if one.median_e_s.value > 0.0]
    if not points:
        return
    at = [one.temperature_c for one in points]
    values = [one.median_e_s.value for one in points]
    errors = [one.median_e_s.error or 0.0 for one in points]
    rates.errorbar(at, values, yerr=errors, fmt="o", color=colour, label=name)
    law = model.law
    if law is None:
        return
    along = [law.low_c + (law.high_c - law.low_c) * place / STEPS for place in range(STEPS + 1)]
    rates.plot(along, [rate_at(law, one) for one in along], color=colour)
    shares = [100.0 * one for one in law.residuals]
    relative = [100.0 * error / value for error, value in zip(errors, values, strict=True)]
    rest.errorbar(at, shares, yerr=relative, fmt="o", color=colour)


def _hot(hot: Any, model: SensorModel, name: str, colour: str) -> None:
    dated = [one for one in model.history if one.what == "hot_pixels_per_megapixel"]
    if not dated:
        return
    hot.errorbar(
        [date.fromisoformat(one.night) for one in dated],
        [one.value.value for one in dated],
        yerr=[one.value.error or 0.0 for one in dated],
        fmt="o-",
        color=colour,
        label=name,
    )
