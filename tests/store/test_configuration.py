"""darklib.toml: the text of a new one, and errors that name the key and what would be right."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from dataclasses import fields
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from darklib.facts.errors import DarklibError, Exit
from darklib.facts.settings import Camera, Settings
from darklib.store import configuration
from darklib.store.configuration import COMMENTS, RANGES, SECTIONS, default_text, load, parse
from darklib.store.seam import Seam


def test_a_new_configuration_holds_the_time_zone_and_every_default() -> None:
    text = default_text("Etc/GMT-2")
    settings = parse(text)
    assert settings.site.timezone == "Etc/GMT-2"
    assert settings.counts == Settings().counts
    assert settings.limits == Settings().limits
    assert tomllib.loads(text)["site"] == {"timezone": "Etc/GMT-2"}


def test_its_commented_lines_are_the_defaults() -> None:
    """Taking the # away from every key changes nothing but the examples for what has no default."""
    lines = []
    for line in default_text("Etc/UTC").splitlines():
        bare = line.removeprefix("# ")
        lines.append(bare if line.startswith("# ") and (" = " in bare or bare.startswith("[cameras")) else line)
    settings = parse("\n".join(lines))
    fresh = Settings()
    assert (settings.counts, settings.limits, settings.shooting) == (fresh.counts, fresh.limits, fresh.shooting)
    assert settings.cameras == {"CAMERA-ID": Camera(lowest_c=0.0, cooled=False)}


def test_every_key_is_explained_and_ranged() -> None:
    assert [section for section, _, _ in SECTIONS] == [item.name for item in fields(Settings) if item.name != "cameras"]
    keys = {f"{section}.{item.name}" for section, cls, _ in SECTIONS for item in fields(cls)}
    keys |= {f"cameras.{item.name}" for item in fields(Camera)}
    assert {key for key in keys if not key.startswith("counts.")} == set(COMMENTS)
    assert set(RANGES) <= keys
    assert keys - set(RANGES) == {"site.timezone", "cameras.cooled"}
    text = default_text("Etc/UTC")
    assert all(comment in text for comment in COMMENTS.values())
    assert max(map(len, text.splitlines())) <= 110


def test_what_is_written_is_what_is_read() -> None:
    settings = parse(
        "[limits]\ngood_temperature_c = 1\naged_days = 100\n"
        '[site]\ntimezone = "Etc/GMT+5"\nlatitude_deg = -33.5\n'
        '[cameras."north-5-kfmqz"]\nlowest_c = -5\ncooled = true\n[cameras.other]\n'
    )
    assert settings.limits.good_temperature_c == 1.0
    assert type(settings.limits.good_temperature_c) is float
    assert settings.limits.aged_days == 100
    assert settings.site.latitude_deg == -33.5
    assert settings.cameras == {"north-5-kfmqz": Camera(lowest_c=-5.0, cooled=True), "other": Camera()}
    assert parse("") == Settings()


@pytest.mark.parametrize(
    ("text", "said", "remedy"),
    [
        ("[limits]\ngood_temp_c = 1", "unknown key limits.good_temp_c", "Did you mean good_temperature_c?"),
        ("[limits]\naged_day = 1", "unknown key limits.aged_day", "Did you mean aged_days?"),
        ("[limit]\n", "unknown key limit", "Did you mean limits?"),
        ("aged_days = 3", "unknown key aged_days", "Did you mean aged_days under [limits]?"),
        ("[counts]\ndark_least = 3", "unknown key counts.dark_least", "Did you mean darks_least?"),
        ("[cameras.a]\nlowest = 3", "unknown key cameras.a.lowest", "Did you mean lowest_c?"),
        ("[shooting]\nqqq = 3", "unknown key shooting.qqq", "Known are: download_s, settling_minutes."),
        ("[limits]\naged_days = '9'", "limits.aged_days must be a whole number, not '9'", "whole number"),
        ("[limits]\naged_days = 9.5", "limits.aged_days must be a whole number, not 9.5", "whole number"),
        ("[limits]\naged_days = true", "limits.aged_days must be a whole number, not True", "whole number"),
        ("[limits]\nset_span_c = false", "limits.set_span_c must be a number, not False", "a number"),
        ("[limits]\nset_span_c = nan", "limits.set_span_c must be a finite number", "Write a number."),
        ("[limits]\nset_span_c = -1", "limits.set_span_c is -1.0", "between 0.0 and 100.0"),
        ("[site]\ntimezone = 3", "site.timezone must be a text in quotes, not 3", "text in quotes"),
        ("[site]\nlatitude_deg = 91", "site.latitude_deg is 91.0", "between -90.0 and 90.0"),
        ("[cameras.a]\ncooled = 1", "cameras.a.cooled must be true or false, not 1", "true or false"),
        ("[cameras.a]\nlowest_c = -300", "cameras.a.lowest_c is -300.0", "between -273.15 and 100.0"),
        ("[cameras]\na = 3", "cameras.a must be a section", "section"),
        ("limits = 3", "limits must be a section, written [limits]", "section"),
        ("[[limits]]\naged_days = 3", "limits must be a section", "section"),
        ("[counts]\ndarks_least = 0", "counts.darks_least is 0", "between 1 and"),
        ("[counts]\ndarks_least = 30", "counts.darks_least is larger than counts.darks_good", "Correct"),
        ("[limits]\ngood_temperature_c = 6", "limits.good_temperature_c is larger than", "Correct"),
        ("[limits\n", "it is not TOML", "Correct that line."),
        ("a = 1\na = 2", "it is not TOML", "Correct that line."),
    ],
)
def test_what_is_wrong_is_named_with_what_is_right(text: str, said: str, remedy: str) -> None:
    with pytest.raises(DarklibError, match="cannot be used") as told:
        parse(text, "/lib/darklib.toml")
    assert told.value.status is Exit.USAGE
    assert told.value.code == "configuration"
    assert told.value.path == str(Path("/lib/darklib.toml"))
    assert said in told.value.text
    assert remedy in told.value.remedy


def test_a_time_zone_that_is_none() -> None:
    for wrong in ("Nowhere/Atall", "../etc", ""):
        with pytest.raises(DarklibError, match="no time zone") as told:
            parse(f'[site]\ntimezone = "{wrong}"')
        assert told.value.status is Exit.USAGE
    with pytest.raises(DarklibError, match="no time zone"):
        default_text('x"\ny = 3')


def test_files_as_editors_leave_them(tmp_path: Path) -> None:
    path = tmp_path / "darklib.toml"
    path.write_bytes(b"\xef\xbb\xbf[limits]\r\naged_days = 7\r\n")
    assert load(Seam(), path).limits.aged_days == 7
    path.write_bytes("[limits]\n# Gr\u00fc\u00dfe\n".encode("latin-1"))
    with pytest.raises(DarklibError, match="is not UTF-8"):
        load(Seam(), path)
    path.unlink()
    with pytest.raises(DarklibError, match="Cannot read the configuration") as told:
        load(Seam(), path)
    assert told.value.code == "vanished"


@given(st.text(max_size=200) | st.text("[]=.\"'#\n abc123limtsae_", max_size=60))
def test_any_text_is_settings_or_one_clear_error(text: str) -> None:
    outcome: Settings | DarklibError
    try:
        outcome = parse(text)
    except DarklibError as error:
        outcome = error
    if isinstance(outcome, DarklibError):
        assert outcome.status is Exit.USAGE
        outcome.text.encode("utf-8")
    else:
        assert isinstance(outcome, Settings)


def test_reading_it_imports_nothing_heavy() -> None:
    code = (
        "import sys; from darklib.store.configuration import parse; parse('')\n"
        "print(sorted({'pydantic', 'numpy', 'pathvalidate', 'platformdirs', 'sqlalchemy'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(configuration.__file__).parents[2],
    )
    assert done.stdout.strip() == "[]"
