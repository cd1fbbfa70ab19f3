"""`darklib exposure` and priced matches from the command line, on frames whose truth is known."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from published_schemas import one_document

from darklib.cli.main import perform
from darklib.jobs.ingest import ingest
from darklib.jobs.library import init, open_library
from darklib.jobs.sensor import sensor
from darklib.scenario.fits_file import fits_bytes

SHAPE = (96, 128)
GAIN_E, BIAS_DN, READ_E, DARK_E_S, SKY_E_S, LIGHT_S = 0.5, 1000.0, 4.0, 0.5, 2.0, 60.0
RNG = np.random.default_rng(20261003)
RATES = DARK_E_S * np.exp(0.3 * RNG.standard_normal(SHAPE))
RATES.ravel()[RNG.permutation(RATES.size)[:60]] += 20.0


def frame(kind: str, name: int, exposure_s: float, minute: int, expected_e: "float | np.ndarray") -> bytes:
    """One file of the invented camera at -5 C. expected_e: electrons of light; dark current is added."""
    electrons = RNG.poisson(expected_e + RATES * exposure_s) + READ_E * RNG.standard_normal(SHAPE)
    data = np.clip(np.rint(electrons / GAIN_E + BIAS_DN), 0, 65535).astype(np.uint16)
    cards: list[tuple[str, str | float, str]] = [
        ("IMAGETYP", kind, ""), ("INSTRUME", "Quiet Box 5", ""), ("SERIAL", "QB5-1", ""), ("EXPTIME", exposure_s, ""),
        ("GAIN", 100, ""), ("OFFSET", 30, ""), ("XBINNING", 1, ""), ("YBINNING", 1, ""), ("CCD-TEMP", -5.0, ""),
        ("SET-TEMP", -5.0, ""), ("TELESCOP", "Long Tube", ""), ("FILTER", "L", ""),
        ("DATE-OBS", f"2026-10-03T{20 + minute // 60:02d}:{minute % 60:02d}:{name % 60:02d}", ""),
    ]  # fmt: skip
    if kind == "Light Frame":
        cards.append(("OBJECT", "NGC 7331", ""))
    return fits_bytes(data, cards)


def sky_on() -> "np.ndarray":
    """A light's sky with a few stars, so that it is no flat."""
    sky = np.full(SHAPE, SKY_E_S * LIGHT_S)
    for row, column in RNG.integers(4, 90, (12, 2)):
        sky[row - 1 : row + 2, column - 1 : column + 2] += 3000.0
    return sky


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("exposed")
    card = base / "card"
    card.mkdir()
    shots: list[tuple[str, int, float, int, Callable[[], float | np.ndarray]]] = [
        ("Bias Frame", 8, 0.0, 1, lambda: 0.0),
        ("Flat Field", 8, 2.0, 5, lambda: 12_000.0),
        ("Dark Frame", 12, LIGHT_S, 20, lambda: 0.0),
        ("Light Frame", 14, LIGHT_S, 60, sky_on),
    ]
    for kind, count, exposure_s, minute, light_e in shots:
        for number in range(count):
            name = f"{kind.replace(' ', '_').lower()}_{number:02d}.fits"
            (card / name).write_bytes(frame(kind, number, exposure_s, minute + number, light_e()))
    init(str(base / "library"), timezone="Etc/UTC")
    with open_library(base / "library") as opened:
        ingest(opened, [str(card)], workers=1)
    return base / "library"


def said(library: Path, capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, object]:
    status = perform(["--library", str(library), "--json", *words])
    assert status in (0, 3)
    return one_document(capsys.readouterr().out)


def test_before_the_sensor_is_measured_values_are_assumed_and_said(
    library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (one,) = said(library, capsys, "exposure")["batches"]  # type: ignore[misc, attr-defined]
    assert not one["measured"]
    assert one["sky_e_s"] == {}
    assert {"read_noise_assumed", "gain_unknown"} <= {item["code"] for item in one["advice"]}
    assert perform(["--library", str(library), "exposure"]) == 0
    assert "darklib sensor" in capsys.readouterr().out


def test_measured_the_sky_is_the_truth_and_the_match_is_priced(
    library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with open_library(library) as opened:
        sensor(opened)
    (one,) = said(library, capsys, "exposure", "--signal", "1", "--wished", "30")["batches"]  # type: ignore[misc, attr-defined]
    assert one["measured"]
    assert (one["gain_from"], one["zero_from"]) == ("sensor", "darks")
    (sky,) = one["sky_e_s"].values()
    assert sky["value"] == pytest.approx(SKY_E_S, abs=4 * sky["error"] + 0.01 * SKY_E_S)
    assert one["sub_exposure_s"]["least"] == pytest.approx(READ_E**2 / (SKY_E_S * 0.1025), rel=0.06)
    assert one["sub_exposure_s"]["with_dark"] == pytest.approx(READ_E**2 / ((SKY_E_S + DARK_E_S) * 0.1025), rel=0.06)
    # 60 / sqrt(60 + 120 + 30 + 16 + rounding) in one light
    told = one["signal_to_noise"]
    assert told["of_one"] == pytest.approx(60 / np.sqrt(226), rel=0.02)
    assert told["lights_wished"] == int(np.ceil((30 / told["of_one"]) ** 2))
    assert told["lights_to_go"] == told["lights_wished"] - 14
    (match,) = said(library, capsys, "match")["matches"]  # type: ignore[misc, attr-defined]
    darks = match["darks"]
    # Twelve exact darks dithered: about a twelfth of (dark current and reading) over all of a light's variance.
    hot = 60 / RATES.size * 20.0 * LIGHT_S
    own, light = (30 * np.exp(0.045) + 16 + hot) / 12, 150 + 16 + hot
    assert darks["time_cost_percent_dithered"] == pytest.approx(100 * own / light, rel=0.2)
    assert darks["time_cost_percent"] == darks["time_cost_percent_dithered"]
    assert darks["no_dark_cost_percent"] > darks["time_cost_percent"]
    assert darks["time_cost_percent_fixed"] > 10 * darks["time_cost_percent_dithered"]
    assert match["flats"]["time_cost_percent"] is not None
    assert match["single_set"] is None
    assert perform(["--library", str(library), "exposure"]) == 0
    assert "electrons a second and pixel, above the matched darks" in " ".join(capsys.readouterr().out.split())


def test_nothing_to_judge(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    init(str(tmp_path / "empty"), timezone="Etc/UTC")
    assert perform(["--library", str(tmp_path / "empty"), "exposure"]) == 0
    assert "no lights" in capsys.readouterr().out
    assert perform(["--library", str(tmp_path / "empty"), "exposure", "--wished", "-3"]) == 2
