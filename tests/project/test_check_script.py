"""scripts/test.py and scripts/demo.py, without running what they run."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from scripts import demo


@pytest.fixture
def check(repository: Path) -> ModuleType:
    """Return scripts/test.py as a module, imported from its file: it has the name of a package of Python's own."""
    spec = importlib.util.spec_from_file_location("check_script", repository / "scripts" / "test.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_every_step_runs_and_the_summary_names_what_failed(
    check: ModuleType, capfd: pytest.CaptureFixture[str]
) -> None:
    python = [sys.executable, "-c"]
    done = check.run(
        [
            check.Step("one", [*python, "print('first')"]),
            check.Step("two", [*python, "import sys; sys.exit(3)"]),
            check.Step("three", [*python, "print('last')"]),
        ]
    )
    assert [status for _, status, _ in done] == [0, 3, 0]
    text, status = check.summary(done)
    assert status == 1
    assert text.startswith("FAILED after ")
    assert text.endswith(": two.")
    out = capfd.readouterr().out
    assert "== 2/3 two" in out
    assert "== two: FAILED with status 3" in out
    assert "last" in out


def test_all_well_is_status_0(check: ModuleType) -> None:
    done = [(check.Step("one", []), 0, 1.2), (check.Step("two", []), 0, 2.3)]
    assert check.summary(done) == ("All 2 checks passed in 4 s.", 0)


def test_a_signal_is_a_failure(check: ModuleType) -> None:
    assert check.summary([(check.Step("one", []), -9, 1.0)])[1] == 1


def test_long_tests_are_asked_for(check: ModuleType) -> None:
    quick, long = (check.steps("/a/bin/python", ["-k", "fits"], long)[-1].command for long in (False, True))
    assert quick[-2:] == long[-2:] == ["-k", "fits"]
    assert "long or not long" not in quick
    assert long[long.index("long or not long") - 1] == "-m"


@pytest.mark.parametrize(
    ("given", "wanted"),
    [
        (["here"], ["demo", "here"]),
        (["--small", "here"], ["demo", "--small", "here"]),
        (["--help"], ["demo", "--help"]),
        (["-h"], ["demo", "-h"]),
    ],
)
def test_the_demo_hands_its_arguments_on(given: list[str], wanted: list[str]) -> None:
    assert demo.arguments_of_demo(given) == wanted


def test_the_demo_makes_a_folder_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo.tempfile, "tempdir", str(tmp_path))
    first, second = demo.arguments_of_demo([]), demo.arguments_of_demo(["--quiet"])
    assert first[0] == second[0] == "demo"
    assert Path(first[1]).parent == Path(second[1]).parent == tmp_path
    assert first[1] != second[1]
    assert second[2:] == ["--quiet"]
    assert list(Path(first[1]).iterdir()) == []
