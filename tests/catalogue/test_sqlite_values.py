"""Values and names that a database stores wrongly without a word: each was seen to happen, and each has its test."""

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path, PureWindowsPath

import numpy as np
import pytest
from catalogue_material import NIGHT, NOW, applied, pixel_facts, raw, record, sha_of, stored
from sqlalchemy.exc import StatementError

from darklib.catalogue import address
from darklib.catalogue.catalogue import Catalogue, FrameQuery
from darklib.catalogue.columns import clean
from darklib.catalogue.schema import open_catalogue
from darklib.catalogue.tables import FRAMES, MEASUREMENTS
from darklib.facts import entries as e
from darklib.facts.errors import DarklibError
from darklib.facts.frame import Kind

# values


def test_numpy_values_are_stored_as_numbers(catalogue: Catalogue) -> None:
    # Left alone, np.int64 in an INTEGER column becomes eight raw bytes, without a word.
    numbers = {"iso": np.int64(800), "width": np.int32(40), "bits": np.uint16(16), "gain": np.float32(1.5)}
    measured = pixel_facts(median_dn=np.float64(512.5))
    applied(catalogue, [stored("a", measured=measured, exposure_s=np.float64(30.0), **numbers)])
    (types,) = raw(catalogue.path, "SELECT typeof(iso), typeof(width), typeof(bits), typeof(gain) FROM readouts")
    assert types == ("integer", "integer", "integer", "real")
    (frame,) = catalogue.frames_by_id([sha_of("a")])
    assert (frame.readout.iso, frame.readout.gain, frame.median_dn, frame.exposure_s) == (800, 1.5, 512.5, 30.0)


@pytest.mark.parametrize("value", ["12", 1.5, b"12"])
def test_an_integer_column_refuses_what_is_no_integer(catalogue: Catalogue, value: object) -> None:
    applied(catalogue, [stored("a")])
    with (
        pytest.raises(StatementError, match="interpreted as an integer"),
        catalogue._transactions.writing() as connection,
    ):
        connection.execute(FRAMES.update().values(size=value))


def test_numbers_that_are_none_become_null(catalogue: Catalogue) -> None:
    # SQLite makes NULL of NaN and keeps infinities, which no JSON document can hold.
    applied(catalogue, [stored("a", gain=float("nan"), rotator_deg=float("inf"), focuser_position=float("-inf"))])
    assert raw(catalogue.path, "SELECT rotator_deg, focuser_position FROM frames") == [(None, None)]
    assert raw(catalogue.path, "SELECT gain FROM readouts") == [(None,)]


def test_json_is_valid_json_or_null(catalogue: Catalogue) -> None:
    applied(
        catalogue, [stored("a", measured=pixel_facts(structure={"banding": float("nan")})), stored("b", measure=False)]
    )
    rows = raw(
        catalogue.path, "SELECT json_valid(figures), json_extract(figures, '$.structure.banding') FROM measurements"
    )
    assert rows == [(1, None)]
    assert raw(catalogue.path, "SELECT DISTINCT json_valid(facts) FROM records") == [(1,)]
    # None is SQL's NULL here, and not the text 'null'.
    assert raw(catalogue.path, "SELECT DISTINCT typeof(warnings), typeof(combined) FROM frames") == [("null", "null")]
    with pytest.raises(StatementError, match="JSON compliant"), catalogue._transactions.writing() as connection:
        connection.execute(MEASUREMENTS.update().values(figures={"banding": float("nan")}))


def test_a_stated_null_is_a_value(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a"), e.Stated("s1", (sha_of("a"),), "target", None, "", NOW)])
    assert raw(catalogue.path, "SELECT value, old FROM statements") == [("null", "null")]
    assert catalogue.statements(sha_of("a"))[0].value is None


def test_instants_with_any_zone_come_back_as_the_same_instant(catalogue: Catalogue) -> None:
    # A DateTime(timezone=True) column would drop the offset and come back two hours wrong, without a zone.
    east = NIGHT.astimezone(timezone(timedelta(hours=2)))
    applied(catalogue, [stored("a", at=east), stored("b", at=NIGHT.replace(tzinfo=None), zone="Etc/GMT-2")])
    first, second = catalogue.frames_by_id([sha_of("a"), sha_of("b")])
    assert (first.taken_at, first.taken_at.tzinfo) == (NIGHT, UTC) if first.taken_at else False
    assert second.taken_at == NIGHT - timedelta(hours=2)
    before_1970 = datetime(1969, 7, 20, 20, 17, 40, 1, tzinfo=UTC)
    applied(catalogue, [stored("c", at=before_1970)], run="run-2")
    assert catalogue.frames_by_id([sha_of("c")])[0].taken_at == before_1970


def test_exposures_and_temperatures_are_compared_as_whole_numbers(catalogue: Catalogue) -> None:
    # As REAL, 0.1 + 0.2 is not 0.3.
    applied(catalogue, [stored("a", exposure_s=0.1 + 0.2, sensor_temperature_c=-0.1 - 0.2)])
    query = FrameQuery(exposure_low_s=0.3, exposure_high_s=0.3, temperature_low_c=-0.3, temperature_high_c=-0.3)
    assert len(catalogue.frames(query).frames) == 1
    assert raw(catalogue.path, "SELECT exposure_us, temperature_c100 FROM frames") == [(300000, -30)]


# names


@pytest.mark.parametrize(
    "name", ["we2?ird.db", "a#b.sqlite", "100%25.sqlite", "with blank.sqlite", "ü é.sqlite", "a&b=c"]
)
def test_a_path_is_a_path_and_no_address(tmp_path: Path, name: str) -> None:
    with open_catalogue(tmp_path / name, tmp_path, create=True) as catalogue:
        applied(catalogue, [stored("a")])
    assert {path.name for path in tmp_path.iterdir()} == {name, f"{name}.lock"}
    with open_catalogue(tmp_path / name, tmp_path, create=False) as catalogue:
        assert catalogue.known(sha_of("a"))


def test_a_share_of_windows_has_no_host_in_its_uri() -> None:
    class Share(PureWindowsPath):
        def absolute(self) -> "Share":
            return self

    uri = address.file_uri(Share(r"\\server\share\lib\catalogue.sqlite"), "rw")  # type: ignore[arg-type]
    assert uri == "file:////server/share/lib/catalogue.sqlite?mode=rw"
    assert address.file_uri(Share(r"C:\my lib\c.sqlite"), "rw") == "file:///C:/my%20lib/c.sqlite?mode=rw"  # type: ignore[arg-type]


def test_a_mistyped_path_makes_no_empty_catalogue(tmp_path: Path) -> None:
    with pytest.raises(DarklibError, match="has no catalogue") as caught:
        open_catalogue(tmp_path / "no such.sqlite", tmp_path, create=False)
    assert (caught.value.code, list(tmp_path.iterdir())) == ("no_catalogue", [])
    engine = address.engine_of(tmp_path / "no such.sqlite")
    with pytest.raises(DarklibError, match="could not be opened"), address.in_words(tmp_path):
        engine.connect()
    assert list(tmp_path.iterdir()) == []


def test_an_empty_file_is_no_catalogue(tmp_path: Path) -> None:
    # For SQLite it is a valid database.
    path = tmp_path / "catalogue.sqlite"
    path.touch()
    with pytest.raises(DarklibError, match="has no catalogue"):
        open_catalogue(path, tmp_path, create=False)
    open_catalogue(path, tmp_path, create=True).close()
    assert [one.name for one in tmp_path.glob("catalogue-*")] == []


@pytest.mark.parametrize("name", ["a\udcff.fits", "half \ud83d pair", "nul\0nul", "Ünïcode ☄.fits"])
def test_names_no_encoding_can_write_are_stored_as_escapes(catalogue: Catalogue, name: str) -> None:
    whole = record("a", Kind.LIGHT, source_path=f"/card/{name}", target=name)
    applied(catalogue, [e.Stored(whole)])
    (frame,) = catalogue.frames_by_id([sha_of("a")])
    assert frame.source_path == clean(f"/card/{name}")
    frame.source_path.encode("utf-8")
    assert catalogue.find(f"/card/{name}") == [sha_of("a")]
    assert len(catalogue.frames(FrameQuery(target=name)).frames) == 1
    assert len(catalogue.series(target=name)) == 1


def test_case_is_folded_beyond_ascii(catalogue: Catalogue) -> None:
    # lower(), NOCASE and LIKE know the letters of ASCII only.
    applied(
        catalogue,
        [stored("a", Kind.LIGHT, target="ÉTOILE", filter="ROUGE É"), stored("b", Kind.LIGHT, target="étoile")],
    )
    assert len(catalogue.frames(FrameQuery(target="Étoile")).frames) == 2
    assert len(catalogue.frames(FrameQuery(filter="rouge é")).frames) == 1
    assert len(catalogue.series(target="étoile")) == 2


def test_percent_and_underscore_mean_themselves(catalogue: Catalogue) -> None:
    applied(catalogue, [stored("a", source_path="/card/100%_a"), stored("b", source_path="/card/100xxa")])
    assert catalogue.find("/card/100%_a") == [sha_of("a")]
    assert catalogue.find("/card/100%") == []
    assert catalogue.find("____") == []
