"""A stage made once, and worker processes replaced by a look in this process."""

from __future__ import annotations

from pathlib import Path

import pytest
from setting import in_this_process, made_stage


@pytest.fixture
def in_process(monkeypatch: pytest.MonkeyPatch) -> None:
    in_this_process(monkeypatch)


@pytest.fixture(scope="session")
def stage(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Return a stage as a template, and the place where it was made and where its copies must stand."""
    return made_stage(tmp_path_factory.mktemp("stage"))
