"""What every test may rely on: a clean environment, a home of its own, and one hypothesis profile."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

# The first example of a property often pays for imports and caches; a deadline would make it fail on a slow machine.
settings.register_profile("darklib", deadline=None)
settings.load_profile("darklib")

REPOSITORY = Path(__file__).resolve().parent.parent

# What a developer's shell may hold and a test must not see.
_SCRUBBED = {"NO_COLOR", "FORCE_COLOR", "CLICOLOR", "CLICOLOR_FORCE", "COLUMNS", "LINES", "TZ", "PYTHONWARNINGS"}
_SCRUBBED_PREFIXES = ("DARKLIB_", "_DARKLIB_", "_TYPER_")


@pytest.fixture(autouse=True)
def _clean_surroundings(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """No setting of the developer reaches a test, and no test reaches the developer's home."""
    for name in list(os.environ):
        if name in _SCRUBBED or name.startswith(_SCRUBBED_PREFIXES):
            monkeypatch.delenv(name)
    home = tmp_path_factory.mktemp("home")
    for name in ("HOME", "USERPROFILE"):
        monkeypatch.setenv(name, str(home))
    for name, folder in {
        "XDG_CONFIG_HOME": ".config",
        "XDG_DATA_HOME": ".local/share",
        "XDG_CACHE_HOME": ".cache",
        "XDG_STATE_HOME": ".local/state",
        "APPDATA": "AppData/Roaming",
        "LOCALAPPDATA": "AppData/Local",
    }.items():
        monkeypatch.setenv(name, str(home / folder))


@pytest.fixture(scope="session")
def repository() -> Path:
    """Return the folder of this checkout."""
    return REPOSITORY


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Return the folder of real camera heads beside the checkout; where it is absent, the test is skipped."""
    folder = REPOSITORY.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip(f"the real camera heads are not on this machine (no folder {folder})")
    return folder


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print what tests measured: every `record_property("measured", "a line")`, sorted."""
    lines = {
        str(value)
        for reports in terminalreporter.stats.values()
        for report in reports
        for name, value in getattr(report, "user_properties", ())
        if name == "measured"
    }
    if lines:
        terminalreporter.section("measured by these tests")
        for line in sorted(lines):
            terminalreporter.line(line)
