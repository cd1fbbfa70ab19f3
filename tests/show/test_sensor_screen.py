"""The measured camera on screens of two widths, drawn with letters, and as picture files."""

import io
from dataclasses import replace

import numpy as np
import pytest

from darklib.facts.errors import DarklibError
from darklib.facts.sensor import Dated, SensorModel, Value
from darklib.jobs.sensor import SensorResult
from darklib.sensor.readouts import sides_of
from darklib.show import sensor_chart, sensor_picture, sensor_screen
from darklib.show.out import Out
from scripts.studies.sensor import drawn, measured


@pytest.fixture(scope="module")
def model() -> SensorModel:
    made = measured(drawn(np.random.default_rng(5)))
    nights = [("2026-10-03", 900.0), ("2027-10-09", 1100.0), ("2028-09-30", 1500.0)]
    dated = tuple(Dated(night, "hot_pixels_per_megapixel", Value(count, 80.0)) for night, count in nights)
    return replace(made, history=dated)


def shown(result: SensorResult, width: int | None, **more: bool) -> str:
    stream = io.StringIO()
    sensor_screen.sensor(Out(stream, width), result, **more)
    return stream.getvalue()


@pytest.mark.parametrize("width", [80, 120])
def test_it_fits_the_width_and_says_what_was_measured(model: SensorModel, width: int) -> None:
    text = shown(SensorResult((model,), 1), width)
    assert max(len(line) for line in text.splitlines()) <= width
    for word in (
        "Read noise",
        "Gain",
        "Dark current",
        "Measured from   30 biases, 18 flats, 40 darks",
        "doubles every",
    ):
        assert word in text
    assert "2028-09-30 1500 +/- 80" in " ".join(text.split())
    assert text.isascii()


def test_what_is_advised_comes_with_its_cautions(model: SensorModel) -> None:
    text = " ".join(shown(SensorResult((model,), 1, ("Never point a telescope near the Sun.",)), 80).split())
    assert "While shooting what is advised - Never point a telescope near the Sun." in text
    assert "While shooting" not in shown(SensorResult((model,), 1), 80)


def test_an_empty_library_says_what_to_do() -> None:
    assert "darklib ingest PATH" in shown(SensorResult((), 0), 80)


@pytest.mark.parametrize(
    ("figure", "told"),
    [
        (Value(1.70142, 0.0013), "1.7014 +/- 0.0013 e-"),
        (Value(5420.3, 212.4), "5420 +/- 212 e-"),
        (Value(0.0, 0.02), "less than 0.04 e-"),
        (Value(3.0, None), "3 e-"),
        (None, "?"),
    ],
)
def test_a_figure_has_as_many_digits_as_its_error_bears(figure: Value | None, told: str) -> None:
    assert sensor_screen.value(figure, "e-") == told


def test_the_chart_is_drawn_with_plain_letters_inside_the_width(model: SensorModel) -> None:
    pictures = list(sensor_chart.charts(model, 72))
    assert len(pictures) == 2
    for lines in pictures:
        assert all(line.isascii() and len(line) <= 100 for line in lines)
        assert sum("o" in line for line in lines[2:-2]) >= 2
    assert max(len(line) for line in pictures[0][1:-1]) <= 72
    assert "2026-10-03" in "\n".join(pictures[1])
    text = shown(SensorResult((model,), 1), 80, chart=True)
    assert max(len(line) for line in text.splitlines()) <= 80


def test_nothing_to_draw_is_no_chart(model: SensorModel) -> None:
    assert list(sensor_chart.charts(replace(model, dark_current=(), history=()), 80)) == []


def test_pictures_are_png_and_svg_and_the_same_every_time(model: SensorModel) -> None:
    png = sensor_picture.picture((model,), "png")
    assert png.startswith(b"\x89PNG\r\n\x1a\n")  # PNG specification, section 5.2
    svg = sensor_picture.picture((model,), "svg")
    assert b"<svg" in svg
    assert sensor_picture.picture((model,), "svg") == svg
    assert b"<svg" in sensor_picture.picture((), "svg")


def test_a_picture_of_another_form_is_wrong_usage() -> None:
    assert [sensor_picture.form_of(name) for name in ("a.png", "b.SVG")] == ["png", "svg"]
    for name in ("a.pdf", "png", "a.png.txt"):
        with pytest.raises(DarklibError, match=r"\.png or \.svg") as caught:
            sensor_picture.form_of(name)
        assert caught.value.status == 2


def test_readouts_side_by_side_tell_which_to_use(model: SensorModel) -> None:
    def at(gain: float, e_per_dn: float, noise: float, well: float) -> SensorModel:
        return replace(
            model, readout=replace(model.readout, gain=gain), gain_e_per_dn=Value(e_per_dn), read_noise_e=Value(noise),
            full_well_e=Value(well),
        )  # fmt: skip

    (side,) = sides_of([at(200, 0.25, 1.52, 4_000), at(0, 4.0, 3.4, 64_000), at(100, 1.0, 1.5, 16_000)])
    assert [row.readout.gain for row in side.rows] == [0, 100, 200]
    # 64,000 e- over 3.4 e- are 14.2 powers of two.
    assert side.rows[0].range_stops == pytest.approx(14.2, abs=0.01)
    assert side.unity_setting == pytest.approx(100)
    assert side.steady_from == 100
    assert "1.50 e- at gain 100" in side.sentence
    assert "14.2 stops at gain 0" in side.sentence
    iso = replace(model, readout=replace(model.readout, gain=None, iso=800), gain_e_per_dn=Value(0.5))
    (one,) = sides_of([iso])
    assert one.unity_setting == pytest.approx(400)
    assert one.steady_from is None
