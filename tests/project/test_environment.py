"""The bootstrap of the project's environment: when it works, when it leaves alone, and what it says when it cannot."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from scripts import environment


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """Return a folder with the two files an environment depends on."""
    (tmp_path / "pyproject.toml").write_text("[project]\n", encoding="utf-8")
    (tmp_path / "requirements.lock").write_text("typer==1\n", encoding="utf-8")
    return tmp_path


def make_interpreter(root: Path, version: str = "3.12.1", key: str = "version") -> None:
    """Write what `environment` looks at in a virtual environment."""
    python = environment.python_of(root / ".venv")
    python.parent.mkdir(parents=True, exist_ok=True)
    python.write_bytes(b"")
    (root / ".venv" / "pyvenv.cfg").write_text(f"home = /usr/bin\n{key} = {version}\n", encoding="utf-8")


@pytest.fixture
def ran(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """Take note of commands instead of running them; making a virtual environment makes its files."""
    commands: list[list[str]] = []

    def note(command: list[str]) -> None:
        commands.append(command)
        if "venv" in command:
            make_interpreter(checkout)

    monkeypatch.setattr(environment, "_run", note)
    return commands


@pytest.mark.parametrize("uv", [None, "/somewhere/uv"])
def test_a_bare_checkout_gets_everything_once(
    checkout: Path, ran: list[list[str]], monkeypatch: pytest.MonkeyPatch, uv: str | None
) -> None:
    monkeypatch.setattr(environment.shutil, "which", lambda name: uv)
    python = environment.ensure(checkout)
    assert python == environment.python_of(checkout / ".venv")
    assert [("venv" in one, "--require-hashes" in one, "--editable" in one) for one in ran] == [
        (True, False, False),
        (False, True, False),
        (False, False, True),
    ]
    assert all((one[0] == uv) == (uv is not None) for one in ran)
    assert environment.ensure(checkout) == python
    assert len(ran) == 3  # the second time there was nothing to do


def test_an_environment_without_stamp_is_completed_and_kept(checkout: Path, ran: list[list[str]]) -> None:
    make_interpreter(checkout)
    environment.ensure(checkout)
    assert not any("venv" in one for one in ran)
    assert len(ran) == 2


@pytest.mark.parametrize("name", ["requirements.lock", "pyproject.toml"])
def test_a_changed_file_makes_it_stale(checkout: Path, ran: list[list[str]], name: str) -> None:
    environment.ensure(checkout)
    before = len(ran)
    with (checkout / name).open("a", encoding="utf-8") as file:
        file.write("# changed\n")
    environment.ensure(checkout)
    assert len(ran) == before + 2


def test_another_interpreter_makes_it_stale(checkout: Path, ran: list[list[str]]) -> None:
    environment.ensure(checkout)
    assert environment.is_current(checkout / ".venv", checkout)
    make_interpreter(checkout, "3.13.0", key="version_info")  # as uv writes it
    assert not environment.is_current(checkout / ".venv", checkout)
    make_interpreter(checkout, "3.12.9")  # a bug fix of Python keeps what was installed
    assert environment.is_current(checkout / ".venv", checkout)


def test_a_moved_checkout_makes_it_stale(checkout: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    other = tmp_path_factory.mktemp("elsewhere")
    for name in ("requirements.lock", "pyproject.toml"):
        (other / name).write_bytes((checkout / name).read_bytes())
    assert environment.wanted_stamp(checkout) != environment.wanted_stamp(other)


def test_a_failed_step_leaves_no_stamp(checkout: Path, capfd: pytest.CaptureFixture[str]) -> None:
    make_interpreter(checkout)
    failing = [sys.executable, "-c", "import sys; print('why', file=sys.stderr); sys.exit(7)"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(environment, "commands", lambda *_: [failing])
        with pytest.raises(SystemExit, match="failed with status 7.*sys.exit"):
            environment.ensure(checkout)
    assert not environment.is_current(checkout / ".venv", checkout)
    assert "why\n" in capfd.readouterr().out


def test_an_installer_that_cannot_start_is_named(checkout: Path) -> None:
    make_interpreter(checkout)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(environment, "commands", lambda *_: [[str(checkout / "nowhere")]])
        with pytest.raises(SystemExit, match="Could not start .*nowhere"):
            environment.ensure(checkout)


def test_an_old_python_is_told_so(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(environment.sys, "version_info", (3, 10, 4, "final", 0))
    with pytest.raises(SystemExit, match=r"needs Python 3\.11 or newer; this is 3\.10\.4"):
        environment.ensure(checkout)


def test_an_environment_of_an_old_python_is_told_so(checkout: Path, ran: list[list[str]]) -> None:
    make_interpreter(checkout, "3.10.4")
    with pytest.raises(SystemExit, match=r"was made with Python 3\.10\. Delete that folder"):
        environment.ensure(checkout)
    assert ran == []


@pytest.mark.skipif(sys.platform == "win32", reason="virtual environments hold copies there, no links that can dangle")
def test_an_interpreter_that_went_away_is_told_so(checkout: Path, ran: list[list[str]]) -> None:
    make_interpreter(checkout)
    python = environment.python_of(checkout / ".venv")
    python.unlink()
    python.symlink_to(checkout / "gone")
    with pytest.raises(SystemExit, match="is gone. Delete that folder"):
        environment.ensure(checkout)
    assert ran == []


def test_two_scripts_take_turns(checkout: Path) -> None:
    folder = checkout / ".venv"
    with environment._only_one(folder), (folder / "darklib-environment.lock").open("a+b") as other:
        assert not environment._taken(other.fileno())
    with (folder / "darklib-environment.lock").open("a+b") as other:
        assert environment._taken(other.fileno())


def test_other_environments_do_not_leak_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("VIRTUAL_ENV", "/another/environment")
    monkeypatch.setenv("PYTHONPATH", "/another/path")
    seen = tmp_path / "seen"
    code = (
        "import os, sys; names = {'VIRTUAL_ENV', 'PYTHONPATH', 'PATH'} & set(os.environ);"
        "open(sys.argv[1], 'w', encoding='utf-8').write(' '.join(sorted(names)))"
    )
    environment._run([sys.executable, "-c", code, str(seen)])
    assert seen.read_text(encoding="utf-8") == "PATH"
