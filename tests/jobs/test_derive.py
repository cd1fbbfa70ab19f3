"""What hot pixels say of stored frames, made anew as darks come, go and are corrected; nothing is opened for it."""

import shutil
from datetime import datetime, timedelta
from io import FileIO
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

from darklib.facts.frame import Frame, Kind, TemperatureFrom
from darklib.facts.match import Verdict
from darklib.jobs.against_journal import differences
from darklib.jobs.asked import Stated
from darklib.jobs.correct import amend, body_changed, join_bodies, restore, retire, undo
from darklib.jobs.derive import derive
from darklib.jobs.derive_apart import after_round
from darklib.jobs.explain import explain
from darklib.jobs.ingest import ingest
from darklib.jobs.library import Opened, open_library
from darklib.jobs.match import match
from darklib.jobs.overview import bodies
from darklib.jobs.rebuild import rebuild
from darklib.jobs.results import IngestResult
from darklib.store.seam import StrPath

HEIGHT, WIDTH, DOUBLING_C = 200, 260, 7.0
NIGHT = datetime(2026, 3, 4, 21, 0, 0)


class Body:
    """A camera that writes FITS without a word on temperature; its hot pixels are always the same."""

    def __init__(self, seed: int, name: str = "Quarrel 7") -> None:
        self.rng = np.random.default_rng(seed)
        self.name = name
        self.places = self.rng.choice(HEIGHT * WIDTH, 300, replace=False)
        self.rates = 3.0 * (1.0 + self.rng.pareto(1.3, 300))
        self.doubling_c = DOUBLING_C * (1.0 + 0.1 * np.clip(self.rng.standard_normal(300), -3, 3))

    def shoot(
        self,
        folder: Path,
        kind: str,
        temperatures_c: list[float],
        exposure_s: float = 60.0,
        first: datetime = NIGHT,
        recorded_c: float | None = None,
        serial: str | None = None,
    ) -> list[Path]:
        folder.mkdir(parents=True, exist_ok=True)
        written = []
        for number, temperature_c in enumerate(temperatures_c):
            light = np.full((HEIGHT, WIDTH), 400.0 if kind == "Light" else 5.0)
            light.reshape(-1)[self.places] += self.rates * np.exp2(temperature_c / self.doubling_c) * exposure_s
            data = self.rng.poisson(light) + 3.0 * self.rng.standard_normal(light.shape) + 300.0
            card = fits.PrimaryHDU(np.clip(np.rint(data), 0, 65_535).astype(np.uint16))
            card.header["IMAGETYP"] = kind
            card.header["EXPTIME"] = exposure_s
            card.header["INSTRUME"] = self.name
            card.header["GAIN"] = 100
            card.header["DATE-OBS"] = (first + timedelta(seconds=number * (exposure_s + 5))).isoformat()
            if recorded_c is not None:
                card.header["CCD-TEMP"] = recorded_c
            if serial is not None:
                card.header["CAMSN"] = serial
            path = folder / f"{kind}-{len(list(folder.iterdir())):03}.fits"
            card.writeto(path)
            written.append(path)
        return written


def taken_in(opened: Opened, *folders: Path, stated: Stated | None = None) -> IngestResult:
    return ingest(opened, [str(folder) for folder in folders], stated or Stated(), workers=1, copiers=0)


def frames_of(opened: Opened, result: IngestResult) -> list[Frame]:
    return opened.catalogue.frames_by_id([frame.sha256 for frame in result.stored])


def test_lights_learn_their_temperature_when_darks_of_two_temperatures_are_known(
    opened: Opened, tmp_path: Path
) -> None:
    body = Body(1)
    body.shoot(tmp_path / "lights", "Light", [6.0, 9.0, 20.0], exposure_s=120.0)
    lights = taken_in(opened, tmp_path / "lights")
    assert {frame.temperature_c for frame in lights.stored} == {None}
    body.shoot(tmp_path / "cold", "Dark", [5.0] * 5, first=NIGHT + timedelta(days=2))
    body.shoot(tmp_path / "warm", "Dark", [15.0] * 5, first=NIGHT + timedelta(days=3))
    cold = taken_in(opened, tmp_path / "cold")
    warm = taken_in(opened, tmp_path / "warm")
    now = frames_of(opened, lights)
    # in order, and matched by the ratio, without a single known temperature
    assert all(frame.dark_ratio is not None and frame.temperature_c is None for frame in now)
    one = amend(opened, [frame.id for frame in cold.stored], {"temperature_c": 5.0})
    assert "3 lights get a new temperature, told by hot pixels." in one.remarks
    pinned = frames_of(opened, lights)
    two = amend(opened, [frame.id for frame in warm.stored], {"temperature_c": 15.0})
    assert any(remark.startswith(("3 lights", "2 lights")) for remark in two.remarks)
    told = frames_of(opened, lights)
    for before, frame, truth in zip(pinned, told, (6.0, 9.0, 20.0), strict=True):
        assert frame.temperature_from is TemperatureFrom.PIXELS
        assert frame.temperature_c == pytest.approx(truth, abs=0.5)
        assert before.temperature_c is not None
        assert before.temperature_error_c is not None
        assert abs(before.temperature_c - truth) <= 2.5 * before.temperature_error_c
    assert differences(opened) == []
    assert two.changed
    assert derive(opened).ratios == 0  # nothing left to do
    facts = {fact.name: fact for fact in explain(opened, told[0].id).facts}
    assert facts["dark_ratio"].origin == "inferred"
    assert "measured" in facts["temperature_c"].note


def test_a_recorded_or_stated_temperature_is_never_replaced(opened: Opened, tmp_path: Path) -> None:
    body = Body(2)
    body.shoot(tmp_path / "darks", "Dark", [10.0] * 5, recorded_c=10.0)
    body.shoot(tmp_path / "lights", "Light", [10.0, 10.0], first=NIGHT + timedelta(hours=2))
    body.shoot(tmp_path / "told", "Light", [10.0], recorded_c=12.0, first=NIGHT + timedelta(hours=3))
    result = taken_in(opened, tmp_path / "darks", tmp_path / "lights", tmp_path / "told")
    by_name = {Path(frame.source_path).parent.name: frame for frame in result.stored}
    assert by_name["lights"].temperature_from is TemperatureFrom.PIXELS
    assert by_name["lights"].temperature_c == pytest.approx(10.0, abs=0.4)
    assert (by_name["told"].temperature_c, by_name["told"].temperature_from) == (12.0, TemperatureFrom.HEADER)
    assert by_name["told"].dark_ratio is not None
    amend(opened, [by_name["lights"].id], {"temperature_c": 7.0})
    stated = opened.catalogue.frames_by_id([by_name["lights"].sha256])[0]
    assert (stated.temperature_c, stated.temperature_from) == (7.0, TemperatureFrom.USER)
    undo(opened, [stated.id])
    back = opened.catalogue.frames_by_id([stated.sha256])[0]
    assert back.temperature_from is TemperatureFrom.PIXELS
    series = opened.catalogue.series(ids=[back.series or ""])[0]
    assert series.temperatures.median_c == pytest.approx(10.0, abs=0.4)
    assert differences(opened) == []


def test_retiring_the_only_darks_takes_the_temperature_away_and_restoring_brings_it_back(
    opened: Opened, tmp_path: Path
) -> None:
    body = Body(3)
    body.shoot(tmp_path / "darks", "Dark", [10.0] * 5, recorded_c=10.0)
    body.shoot(tmp_path / "lights", "Light", [12.0], first=NIGHT + timedelta(hours=2))
    result = taken_in(opened, tmp_path / "darks", tmp_path / "lights")
    light = next(frame for frame in result.stored if frame.temperature_from is TemperatureFrom.PIXELS)
    darks = [frame.id for frame in result.stored if frame is not light]
    gone = retire(opened, darks)
    assert gone.remarks == ("1 frame loses the temperature that hot pixels told: no darks are left that tell it.",)
    assert opened.catalogue.frames_by_id([light.sha256])[0].temperature_c is None
    back = restore(opened, darks)
    assert back.remarks == ("1 light gets a new temperature, told by hot pixels.",)
    assert opened.catalogue.frames_by_id([light.sha256])[0].temperature_c == light.temperature_c


def test_darks_of_several_temperatures_in_one_night_are_parted(opened: Opened, tmp_path: Path) -> None:
    body = Body(4)
    body.shoot(tmp_path / "darks", "Dark", [4.0] * 5 + [14.0] * 5)
    result = taken_in(opened, tmp_path / "darks")
    assert len({frame.series for frame in result.stored}) == 1
    amend(opened, [frame.id for frame in result.stored[:5]], {"temperature_c": 4.0})
    rest = frames_of(opened, result)[5:]
    assert all(frame.temperature_from is TemperatureFrom.PIXELS for frame in rest)
    assert np.median([frame.temperature_c or 0.0 for frame in rest]) == pytest.approx(14.0, abs=2.5)


def test_without_any_temperature_the_darks_of_the_nearest_dark_ratio_are_matched(
    opened: Opened, tmp_path: Path
) -> None:
    body = Body(13)
    body.shoot(tmp_path / "darks", "Dark", [4.0] * 10 + [16.0] * 10)
    body.shoot(tmp_path / "lights", "Light", [15.5] * 4, first=NIGHT + timedelta(hours=3))
    darks = taken_in(opened, tmp_path / "darks").stored
    taken_in(opened, tmp_path / "lights")
    choice = match(opened).matches[0].darks
    assert choice.set is not None
    assert {frame.sha256 for frame in choice.set.frames} == {frame.sha256 for frame in darks[10:]}
    assert choice.verdict is Verdict.GOOD
    assert choice.temperature_mismatch_c == pytest.approx(0.5, abs=0.6)
    assert choice.dark_ratio == pytest.approx(2 ** (-0.5 / DOUBLING_C), abs=0.06)
    assert "hot pixels" in choice.reasons[0].text
    far = choice.runners_up[0]
    assert far.verdict is Verdict.POOR
    assert far.temperature_mismatch_c == pytest.approx(-11.5 * 6.5 / DOUBLING_C, abs=1.0)


def test_a_camera_that_warms_up_is_told(opened: Opened, tmp_path: Path) -> None:
    body = Body(5)
    body.shoot(tmp_path / "darks", "Dark", list(np.linspace(8.0, 12.0, 12)))
    result = taken_in(opened, tmp_path / "darks")
    assert any("warmed up by" in remark for remark in result.remarks)
    change = next(remark for remark in result.remarks if "warmed up by" in remark)
    assert 2.5 < float(change.split("by ")[1].split(" C")[0]) < 5.0


def test_a_recorded_temperature_is_doubted_once_the_offset_of_the_camera_is_known(
    opened: Opened, tmp_path: Path
) -> None:
    body = Body(14)
    body.shoot(tmp_path / "cold", "Dark", [6.0] * 5, recorded_c=6.0)
    body.shoot(tmp_path / "warm", "Dark", [16.0] * 5, recorded_c=16.0, first=NIGHT + timedelta(days=1))
    body.shoot(tmp_path / "lights", "Light", [10.0] * 9, recorded_c=12.0, first=NIGHT + timedelta(days=2))
    first = taken_in(opened, tmp_path / "cold", tmp_path / "warm", tmp_path / "lights")
    assert not [one for one in first.remarks if "contradict" in one]  # two degrees off, all of them: the camera's scale
    body.shoot(tmp_path / "wrong", "Light", [10.0], recorded_c=-4.0, first=NIGHT + timedelta(days=2, hours=1))
    second = taken_in(opened, tmp_path / "wrong")
    told = [one for one in second.remarks if "contradict" in one]
    assert len(told) == 1
    assert told[0].startswith("1 light records a temperature that the hot pixels contradict")
    assert "-4.0 C recorded, 1" in told[0]
    facts = [fact for fact in explain(opened, second.stored[0].id).facts if "disagrees" in fact.note]
    assert len(facts) == 1
    amended = amend(opened, [second.stored[0].id], {"temperature_c": 12.0})
    assert not [one for one in amended.remarks if "contradict" in one]
    assert not [fact for fact in explain(opened, second.stored[0].id).facts if "disagrees" in fact.note]


def test_frames_of_another_sensor_under_the_same_name_are_told(opened: Opened, tmp_path: Path) -> None:
    Body(6).shoot(tmp_path / "darks", "Dark", [10.0] * 5)
    Body(7).shoot(tmp_path / "lights", "Light", [10.0] * 2, first=NIGHT + timedelta(hours=2))
    result = taken_in(opened, tmp_path / "darks", tmp_path / "lights")
    assert any("2 frames" in one and "none of the hot pixels" in one for one in result.remarks)
    Body(7).shoot(tmp_path / "more", "Dark", [10.0] * 5, first=NIGHT + timedelta(days=9))
    later = taken_in(opened, tmp_path / "more")
    assert any(one.startswith("The darks") and "another one" in one for one in later.remarks)


def test_one_camera_known_without_and_with_its_serial_number_is_noticed(opened: Opened, tmp_path: Path) -> None:
    body = Body(11)
    body.shoot(tmp_path / "lights", "Light", [10.0] * 2)
    body.shoot(tmp_path / "darks", "Dark", [10.0] * 5, first=NIGHT + timedelta(days=1), serial="0042")
    Body(12).shoot(tmp_path / "twin", "Dark", [10.0] * 5, first=NIGHT + timedelta(days=2), serial="0043")
    result = taken_in(opened, tmp_path / "lights", tmp_path / "darks", tmp_path / "twin")
    assert len(bodies(opened).bodies) == 3
    told = [one for one in result.remarks if "look like one camera" in one]
    assert len(told) == 1
    assert bodies(opened).remarks == tuple(told)
    first, second = told[0].split("`")[1].split()[-2:]
    joined = join_bodies(opened, first, second)
    assert joined.remarks == ()
    assert sorted(item.frames for item in joined.bodies) == [5, 7]


def test_a_sensor_that_aged_is_told_and_one_that_was_colder_is_not(opened: Opened, tmp_path: Path) -> None:
    body = Body(15)
    body.shoot(tmp_path / "old", "Dark", [12.0] * 5)
    body.shoot(tmp_path / "cold", "Dark", [4.0] * 5, first=NIGHT + timedelta(days=200))
    assert not [one for one in taken_in(opened, tmp_path / "old", tmp_path / "cold").remarks if "came or went" in one]
    free = np.setdiff1d(np.arange(HEIGHT * WIDTH), body.places)
    body.places[:45] = body.rng.choice(free, 45, replace=False)
    body.shoot(tmp_path / "new", "Dark", [12.0] * 5, first=NIGHT + timedelta(days=500))
    told = [one for one in taken_in(opened, tmp_path / "new").remarks if "came or went" in one]
    assert len(told) == 1
    assert 8 <= int(told[0].split("hot pixels ")[1].split("%")[0]) <= 22


def test_after_a_remap_the_old_darks_tell_nothing_more(opened: Opened, tmp_path: Path) -> None:
    body = Body(8)
    body.shoot(tmp_path / "darks", "Dark", [10.0] * 5, recorded_c=10.0)
    body.shoot(tmp_path / "lights", "Light", [10.0], first=NIGHT + timedelta(days=2))
    result = taken_in(opened, tmp_path / "darks", tmp_path / "lights")
    light = next(frame for frame in result.stored if frame.temperature_from is TemperatureFrom.PIXELS)
    assert light.body is not None
    body_changed(opened, light.body.id, what="remapped", at=(NIGHT + timedelta(days=1)).isoformat())
    assert opened.catalogue.frames_by_id([light.sha256])[0].temperature_c is None


def test_the_cache_may_be_deleted_at_any_time(library: Path, tmp_path: Path) -> None:
    body = Body(9)
    body.shoot(tmp_path / "darks", "Dark", [10.0] * 5, recorded_c=10.0)
    body.shoot(tmp_path / "lights", "Light", [13.0] * 3, first=NIGHT + timedelta(hours=2))
    with open_library(library) as opened:
        result = taken_in(opened, tmp_path / "darks", tmp_path / "lights")
        told = frames_of(opened, result)
        shutil.rmtree(library / "cache" / "hot")
        assert derive(opened).lights == 0
        assert frames_of(opened, result) == told
        dark = next(frame for frame in told if frame.temperature_from is TemperatureFrom.HEADER)
        retire(opened, [dark.id])  # the others are read again; the lights stay where they were
        after = {frame.sha256: frame for frame in frames_of(opened, result)}
        for frame in told:
            assert after[frame.sha256].temperature_c == pytest.approx(frame.temperature_c, abs=0.5)
        restore(opened, [dark.id])
    shutil.rmtree(library / "cache")
    assert rebuild(library).differences == ()
    with open_library(library) as opened:
        again = {frame.sha256: frame for frame in frames_of(opened, result)}
        for frame in told:
            assert again[frame.sha256].temperature_c == frame.temperature_c
        assert len(list((library / "cache" / "hot").rglob("*.hot"))) == 8
        assert differences(opened) == []


def test_no_image_is_opened(opened: Opened, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    body = Body(10)
    body.shoot(tmp_path / "darks", "Dark", [10.0] * 4)
    body.shoot(tmp_path / "lights", "Light", [10.0] * 3, first=NIGHT + timedelta(hours=2))
    result = taken_in(opened, tmp_path / "darks", tmp_path / "lights")
    seen: list[str] = []
    real = opened.seam.open_read

    def watched(path: StrPath) -> FileIO:
        seen.append(str(path))
        return real(path)

    monkeypatch.setattr(opened.seam, "open_read", watched, raising=False)
    darks = [frame.id for frame in result.stored if frame.kind == "dark"]
    amend(opened, darks, {"temperature_c": 10.0})
    assert not [path for path in seen if "/frames/" in path or path.endswith(".hot")]
    retire(opened, darks[:1])
    assert not [path for path in seen if "/frames/" in path]


def test_a_process_of_its_own_derives_the_same(opened: Opened, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("darklib.jobs.ingest.after_ingest", lambda opened, result: result)
    body = Body(2)
    body.shoot(tmp_path / "darks", "Dark", [10.0] * 5, recorded_c=10.0)
    body.shoot(tmp_path / "lights", "Light", [10.0, 10.0], first=NIGHT + timedelta(hours=2))
    bare = taken_in(opened, tmp_path / "darks", tmp_path / "lights")
    assert {frame.dark_ratio for frame in bare.stored} == {None}
    told = after_round(opened, bare)
    lights = [frame for frame in told.stored if frame.kind is Kind.LIGHT]
    assert [frame.temperature_from for frame in lights] == [TemperatureFrom.PIXELS] * 2
    assert "2 lights get a new temperature, told by hot pixels." in told.remarks
    assert derive(opened).ratios == 0  # nothing left to do
    assert differences(opened) == []
    nothing = taken_in(opened, tmp_path / "darks")
    assert after_round(opened, nothing) is nothing
