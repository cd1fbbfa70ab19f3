"""What conftest.py and the project file promise every test."""

from __future__ import annotations

import os
import subprocess
import sys
import warnings
from pathlib import Path

import pytest
from hypothesis import settings
from platformdirs import user_cache_path, user_config_path, user_data_path

LEAKS = {"DARKLIB_LIBRARY": "/somebody/darklib", "NO_COLOR": "1", "COLUMNS": "37", "TZ": "Pacific/Kiritimati"}


def test_a_warning_is_an_error() -> None:
    with pytest.raises(UserWarning, match="careless"):
        warnings.warn("careless", stacklevel=1)


def test_examples_have_no_deadline() -> None:
    assert settings().deadline is None


def test_home_is_an_empty_folder_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> None:
    base = tmp_path_factory.getbasetemp()
    assert Path.home().is_relative_to(base)
    assert list(Path.home().iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="Windows asks the system for these folders, not the environment")
@pytest.mark.parametrize("where", [user_cache_path, user_config_path, user_data_path])
def test_data_folders_lie_in_that_home(where: object) -> None:
    assert callable(where)
    assert Path(where("darklib")).is_relative_to(Path.home())


def test_no_setting_of_the_developer_is_seen() -> None:
    assert [name for name in os.environ if name in LEAKS or name.startswith("DARKLIB_")] == []


def test_that_holds_even_where_the_developer_has_some(repository: Path, tmp_path: Path) -> None:
    # A folder of its own: pytest otherwise tidies up after earlier runs first.
    options = ["-q", "-p", "no:cacheprovider", "--basetemp", str(tmp_path / "inner")]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", *options, f"{__file__}::test_no_setting_of_the_developer_is_seen"],
        cwd=repository,
        env={**os.environ, **LEAKS},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stdout
    assert "1 passed" in done.stdout
