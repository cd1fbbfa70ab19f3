"""Dark current against temperature, and hot pixels over the years, drawn with letters for a terminal."""

from collections.abc import Iterator, Sequence
from math import log10
from typing import Any

from darklib.facts.sensor import SensorModel
from darklib.sensor.dark_law import rate_at
from darklib.show import words

HEIGHT = 16
LEAST_WIDTH, MOST_WIDTH = 40, 100

# Any console has these.
_PLAIN = str.maketrans(dict.fromkeys("┌┐└┘┤├┬┴┼", "+") | {"─": "-", "│": "|"})


def charts(model: SensorModel, width: int) -> Iterator[list[str]]:
    """Each picture as lines of plain letters, no wider than `width`: none where there is nothing to draw."""
    wide = max(LEAST_WIDTH, min(width, MOST_WIDTH))
    points = [(one.temperature_c, one.median_e_s.value) for one in model.dark_current if one.median_e_s.value > 0.0]
    if len(points) > 1:
        yield _darks(model, points, wide)
    dated = [one for one in model.history if one.what == "hot_pixels_per_megapixel"]
    if len(dated) > 1:
        yield _hot(model, [(one.night, one.value.value) for one in dated], wide)


def _darks(model: SensorModel, points: Sequence[tuple[float, float]], wide: int) -> list[str]:
    figure = _fresh(wide)
    logs = [log10(rate) for _, rate in points]
    law = model.law
    if law is not None:
        steps = [law.low_c + (law.high_c - law.low_c) * place / 60 for place in range(61)]
        along = [log10(rate_at(law, one)) for one in steps]
        figure.draw(figure.signal(steps, along, marker="."))
        logs += along
    figure.draw(figure.signal([t for t, _ in points], logs[: len(points)], marker="o"))
    ticks = [min(logs) + (max(logs) - min(logs) or 1.0) * place / 4 for place in range(5)]
    figure.ruler("y").ticks(ticks, [f"{10**tick:.2g}" for tick in ticks])
    legend = "o measured" if law is None else "o measured   . the law"
    return [f"{_title(model)}: dark current, e-/s, against temperature, C", *_built(figure), legend]


def _hot(model: SensorModel, dated: Sequence[tuple[str, float]], wide: int) -> list[str]:
    figure = _fresh(wide)
    places = list(range(len(dated)))
    counts = [count for _, count in dated]
    figure.draw(figure.signal(places, counts, marker="o"))
    every = -(-len(dated) * 13 // (wide - 8))
    figure.ruler("x").ticks(places[::every], [night for night, _ in dated][::every])
    return [f"{_title(model)}: hot pixels per megapixel, by night", *_built(figure)]


def _title(model: SensorModel) -> str:
    return f"{words.camera(model.body)}, {words.setting(model.readout)}"


def _fresh(wide: int) -> Any:
    import plotext

    figure: Any = plotext.figure
    figure.clear()
    figure.plot_size(wide, HEIGHT)
    return figure


def _built(figure: Any) -> list[str]:
    import plotext

    drawn = str(plotext.uncolorize(figure.build().string()))
    return [line.translate(_PLAIN).rstrip() for line in drawn.splitlines()]
