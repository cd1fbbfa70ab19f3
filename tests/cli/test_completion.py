"""Completion in the shell: commands, their options and the common ones; nothing heavy is loaded."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from darklib.cli.index import COMMANDS


def completed(repository: Path, line: str, position: int) -> list[str]:
    process = subprocess.run(
        [sys.executable, "-m", "darklib"],
        cwd=repository,
        env={**os.environ, "_DARKLIB_COMPLETE": "complete_bash", "COMP_WORDS": line, "COMP_CWORD": str(position)},
        capture_output=True,
        check=False,
        timeout=60,
        text=True,
        encoding="utf-8",
    )
    assert process.stderr == ""
    return process.stdout.split()


def test_commands_are_completed(repository: Path) -> None:
    assert set(COMMANDS) <= set(completed(repository, "darklib ", 1))
    assert completed(repository, "darklib ba", 1) == ["batches"]


@pytest.mark.parametrize(
    ("line", "position", "among"),
    [
        ("darklib --libr", 1, "--library"),
        ("darklib frames --undec", 2, "--undecided"),
        ("darklib frames --js", 2, "--json"),
        ("darklib bodies na", 2, "name"),
        ("darklib frames --kind da", 3, "dark"),
    ],
)
def test_options_and_values_are_completed(repository: Path, line: str, position: int, among: str) -> None:
    assert among in completed(repository, line, position)


def test_what_would_be_installed_is_printed(repository: Path) -> None:
    process = subprocess.run(
        [sys.executable, "-m", "darklib", "--show-completion", "bash"],
        cwd=repository,
        env={**os.environ, "_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION": "1"},
        capture_output=True,
        check=False,
        timeout=60,
    )
    assert process.returncode == 0
    assert b"_DARKLIB_COMPLETE" in process.stdout
