"""The door: common options anywhere, every outcome an exit status, one sentence, and one document under --json."""

import io
import os
import subprocess
import sys
from pathlib import Path

import pytest
from published_schemas import one_document

from darklib import __version__
from darklib.cli import main
from darklib.cli.index import COMMANDS, SECTIONS
from darklib.cli.options import FLAGS, Common, take
from darklib.facts.errors import DarklibError, Exit

BELOW = [("bodies", "name"), ("bodies", "join"), ("bodies", "changed"), ("trains", "changed")]


@pytest.mark.parametrize(
    "arguments",
    [
        ["--library", "/x", "--json", "frames", "--kind", "dark"],
        ["frames", "--library", "/x", "--kind", "dark", "--json"],
        ["--json", "frames", "--library=/x", "--kind", "dark"],
        ["frames", "--json", "--kind", "dark", "--library", "/x"],
    ],
)
def test_common_options_may_stand_anywhere(arguments: list[str]) -> None:
    common, rest = take(arguments)
    assert common == Common(library="/x", json=True)
    assert rest == ["frames", "--kind", "dark"]


def test_every_common_option_is_taken_once_or_often() -> None:
    common, rest = take([*FLAGS, "status", *FLAGS])
    assert common == Common(None, json=True, quiet=True, verbose=True, debug=True, no_colour=True)
    assert rest == ["status"]


def test_what_follows_two_hyphens_is_left_alone() -> None:
    assert take(["check", "--", "--json"]) == (Common(), ["check", "--", "--json"])


def test_json_lines_make_failures_json_as_well() -> None:
    assert take(["frames", "--lines"])[0].for_programs


def test_library_needs_a_folder() -> None:
    with pytest.raises(DarklibError, match="needs a folder") as caught:
        take(["frames", "--library"])
    assert caught.value.status == Exit.USAGE


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main.perform(["--version"]) == 0
    assert capsys.readouterr().out == f"darklib {__version__}\n"


@pytest.mark.parametrize("option", ["-h", "--help"])
def test_help_names_every_command_within_80_columns(option: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main.perform([option]) == 0
    shown = capsys.readouterr().out
    assert max(len(line) for line in shown.splitlines()) <= 80
    for name, entry in COMMANDS.items():
        assert f"\n  {name} " in shown
        assert entry.does in shown
    for flag in FLAGS:
        assert f"\n  {flag} " in shown


def test_the_help_names_no_command_that_is_not_there() -> None:
    # The commands of the first release; others are named when they work, not before.
    assert sorted(COMMANDS) == sorted(
        "init status ingest frames sets bodies check amend retire restore batches match gaps export exposure trains "
        "sensor explain set-aside verify rebuild demo".split()
    )
    assert sum(len(entries) for _, entries in SECTIONS) == len(COMMANDS)


@pytest.mark.parametrize("words", [(name,) for name in COMMANDS] + BELOW)
@pytest.mark.parametrize("option", ["-h", "--help"])
def test_every_command_has_help(words: tuple[str, ...], option: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main.perform([*words, option]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith(f"Usage: darklib {' '.join(words)} ")
    assert "--library DIR" in shown
    for flag in FLAGS:
        assert f"\n  {flag} " in shown
    assert "--prove" not in shown


@pytest.mark.parametrize(
    "words",
    [["ingest"], ["bodies", "name"], ["bodies", "join"], ["bodies", "changed"], ["amend"], ["retire"], ["restore"],
     ["export"], ["trains", "changed"], ["init"], ["rebuild"], ["demo"], ["set-aside"]],
)  # fmt: skip
def test_every_command_that_writes_takes_dry_run(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main.perform([*words, "--help"]) == 0
    assert "--dry-run" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["mach"], "There is no command 'mach'. Did you mean `match`?"),
        (["--jason"], "There is no option '--jason'. Did you mean `--json`?"),
        (["frames", "--colour"], "--colour"),
        (["frames", "--kind", "noise"], "Invalid value for '--kind': 'noise' is not one of"),
        (["ingest", "--temperature", "285"], "'285' is no temperature of a sensor."),
        (["frames", "--limit", "0"], "--limit"),
        (["export"], "--to"),
        (["export", "--to", "x"], "--batch ID"),
        (["match", "--batch", "2026-10-03-kfmqz", "--night", "last"], "--batch names the lights already"),
        (["export", "--to", "x", "--batch", "2026-10-03-kfmqz", "--target", "M 33"], "--batch names the lights"),
        (["amend", "abcd", "--temperature", "1:2"], "'1:2' is no number. Write one number."),
        (["explain"], "FILE|ID"),
        (["bodies", "rename"], "rename"),
        (["amend", "abcd"], "Nothing to correct"),
        (["amend", "abcd", "--undo", "--kind", "dark"], "--undo"),
        (["amend", "abcd", "--kind", "noise"], "'noise' is no kind"),
        (["frames", "--night", "someday"], "'someday' is no night."),
        (["status", "--library"], "--library needs a folder."),
    ],
)
def test_wrong_usage(arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main.perform(arguments) == Exit.USAGE
    shown = capsys.readouterr()
    assert told in " ".join(shown.err.split())
    assert shown.out == ""
    assert "Traceback" not in shown.err
    assert main.perform([*arguments[:1], "--json", *arguments[1:]]) == Exit.USAGE
    document = one_document(capsys.readouterr().out)
    assert document["schema"] == "darklib/error/1"
    assert document["code"] == "usage"
    assert document["remedy"]


def test_a_failure_is_a_sentence_and_a_document(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*arguments: object) -> int:
        raise DarklibError("disk_full", "The disk is \x1b[31mfull.", path="/x/\udcff", remedy="Make room.")

    monkeypatch.setattr("darklib.cli.main._run_command", fail)
    assert main.perform(["status"]) == Exit.FAILED
    assert capsys.readouterr() == ("", "The disk is \\x1b[31mfull. (/x/\\xff)\nMake room.\n")
    assert main.perform(["status", "--json"]) == Exit.FAILED
    shown = capsys.readouterr()
    assert shown.err.startswith("The disk is")
    assert one_document(shown.out)["code"] == "disk_full"


@pytest.mark.parametrize("status", [Exit.FAILED, Exit.USAGE, Exit.ATTENTION])
def test_an_error_brings_its_status(status: Exit, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*arguments: object) -> int:
        raise DarklibError("odd", "Odd.", status=status)

    monkeypatch.setattr("darklib.cli.main._run_command", fail)
    assert main.perform(["status"]) == status


def test_a_bug_is_a_sentence_and_a_traceback_only_when_asked(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*arguments: object) -> int:
        raise ZeroDivisionError("division\nby zero")

    monkeypatch.setattr("darklib.cli.main._run_command", fail)
    assert main.perform(["status"]) == Exit.FAILED
    told = capsys.readouterr().err
    assert "Unexpected ZeroDivisionError: division by zero" in told
    assert "--debug" in told
    assert "Traceback" not in told
    assert main.perform(["status", "--debug", "--json"]) == Exit.FAILED
    shown = capsys.readouterr()
    assert "Traceback" in shown.err
    assert one_document(shown.out)["code"] == "unexpected"


def test_ctrl_c_ends_with_130(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*arguments: object, **named: object) -> int:
        raise KeyboardInterrupt

    # Inside the command, so that typer has its hands in it.
    monkeypatch.setattr("darklib.cli.status.library", stop)
    assert main.perform(["status"]) == Exit.STOPPED
    assert "Stopped." in capsys.readouterr().err
    assert main.perform(["status", "--json"]) == Exit.STOPPED
    assert one_document(capsys.readouterr().out)["code"] == "stopped"
    # And before it.
    monkeypatch.setattr("darklib.cli.main._run_command", stop)
    assert main.perform(["status"]) == Exit.STOPPED


def test_darklib_alone_without_a_library_tells_how_to_make_one(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def nowhere(*arguments: object, **named: object) -> None:
        raise DarklibError("no_library", "There is no library here.", remedy="Make one.")

    monkeypatch.setattr("darklib.jobs.library.find_root", nowhere)
    assert main.perform([]) == 0
    assert "darklib init DIR" in capsys.readouterr().out
    assert main.perform(["--json"]) == Exit.FAILED
    assert one_document(capsys.readouterr().out)["code"] == "no_library"
    assert main.perform(["status"]) == Exit.FAILED
    assert main.perform(["--library", "/nowhere"]) == Exit.FAILED


def test_darklib_alone_tells_of_a_library_that_is_named_and_is_none(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("DARKLIB_LIBRARY", str(tmp_path / "gone"))
    assert main.perform([]) == Exit.USAGE
    said = capsys.readouterr()
    assert said.out == ""
    assert "(DARKLIB_LIBRARY)" in said.err


class Shut(io.StringIO):
    """A pipe whose reader has gone."""

    def write(self, text: str) -> int:
        raise BrokenPipeError

    def flush(self) -> None:
        raise BrokenPipeError


def test_a_reader_that_has_gone_is_no_failure(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stdout", Shut())
    assert main.perform(["--help"]) == 0
    monkeypatch.setattr("sys.stdout", Shut())
    assert main.perform(["mach", "--json"]) == Exit.USAGE
    assert "Traceback" not in capsys.readouterr().err


def ran(arguments: list[str], repository: Path, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "darklib", *arguments],
        cwd=repository,
        env={**os.environ, **environment},
        capture_output=True,
        check=False,
        timeout=60,
    )


@pytest.mark.parametrize("encoding", ["ascii", "cp437", "utf-8"])
def test_a_poor_console_gets_codes_and_no_failure(encoding: str, repository: Path) -> None:
    night = "no[/]night \u00e9\u03c3\u671b\U0001f319"
    process = ran(["frames", "--night", night, "--json"], repository, PYTHONIOENCODING=encoding, PYTHONUTF8="0")
    assert process.returncode == Exit.USAGE
    assert b"no[/]night" in process.stderr
    assert b"Traceback" not in process.stderr
    assert night in one_document(process.stdout.decode(encoding))["text"]


@pytest.mark.skipif(os.name == "nt", reason="a shell's pipe is wanted")
def test_a_closed_pipe_is_silent(repository: Path) -> None:
    command = f"{sys.executable} -m darklib --help | true; exit ${{PIPESTATUS[0]}}"
    process = subprocess.run(["bash", "-c", command], cwd=repository, capture_output=True, check=False, timeout=60)
    assert process.returncode == 0
    assert process.stderr == b""
