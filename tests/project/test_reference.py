"""COMMANDS.md says what the program's own help says, for every command, on 80 columns."""

from __future__ import annotations

from pathlib import Path

import pytest

from darklib.cli.index import COMMANDS
from scripts import reference


@pytest.fixture(scope="module")
def text() -> str:
    """Return the reference as it is made now."""
    return reference.reference()


def test_every_command_has_a_section(text: str) -> None:
    sections = [line.removeprefix("## darklib ") for line in text.splitlines() if line.startswith("## ")]
    assert sections == list(COMMANDS)
    assert "### darklib bodies join" in text.splitlines()
    assert "### darklib trains changed" in text.splitlines()


def test_every_section_is_that_commands_help(text: str) -> None:
    usages = [line for line in text.splitlines() if line.startswith("Usage: darklib")]
    titles = [line.lstrip("# ") for line in text.splitlines() if line.startswith(("## ", "### "))]
    assert len(usages) == len(titles) + 1
    for title, usage in zip(titles, usages[1:], strict=True):
        assert usage.startswith(f"Usage: {title} ")


def test_it_fits_80_columns_without_colours(text: str) -> None:
    assert [line for line in text.splitlines() if len(line) > 80 and not line.startswith("Made from")] == []
    assert "\x1b" not in text


def test_the_surroundings_do_not_show(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert reference.reference() == text


def test_a_stale_file_is_shown_and_refused(
    text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "COMMANDS.md"
    monkeypatch.setattr(reference, "TARGET", target)
    assert reference.main(["--check"]) == 1
    assert reference.main([]) == 0
    assert reference.main(["--check"]) == 0
    assert target.read_text(encoding="utf-8") == text
    target.write_text(text.replace("take in files", "take out files", 1), encoding="utf-8")
    capsys.readouterr()
    assert reference.main(["--check"]) == 1
    out = capsys.readouterr().out
    assert "-  ingest     take out files" in out
    assert "out of date" in out
    assert "take out files" in target.read_text(encoding="utf-8")  # checking changes nothing
