"""Every check of the project, from a bare checkout: `python3 scripts/test.py [--long] [-- arguments for pytest]`.

Prepares the project's own environment first (see environment.py), then runs the steps one after the other. A step that
fails doesn't stop the next; the summary at the end names what failed, and the exit status is then 1.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from scripts import environment


@dataclass(frozen=True)
class Step:
    """One check: what it is called, and the command that makes it."""

    name: str
    command: list[str]


def steps(python: str, pytest_arguments: list[str], long: bool) -> list[Step]:
    """Return the checks in order, quick ones first; with `long` the slow tests run too."""
    tool = Path(python).parent
    suffix = ".exe" if os.name == "nt" else ""
    # By file, so that what a file's tests share (a library, a wheel) is made once and not once a process.
    pytest = [python, "-m", "pytest", "-n", "2", "--dist", "loadfile", "-q"]
    selection = ["-m", "long or not long"] if long else []
    return [
        Step("ruff check", [python, "-m", "ruff", "check", "."]),
        Step("ruff format", [python, "-m", "ruff", "format", "--check", "."]),
        Step("mypy", [python, "-m", "mypy"]),
        Step("import rules", [str(tool / f"lint-imports{suffix}"), "--no-logo"]),
        Step("banned calls", [python, "scripts/banned_calls.py"]),
        Step("command reference", [python, "scripts/reference.py", "--check"]),
        Step("tests, long ones included" if long else "tests", [*pytest, *selection, *pytest_arguments]),
    ]


def run(todo: list[Step]) -> list[tuple[Step, int, float]]:
    """Run `todo` in order and return each step with its exit status and seconds."""
    done = []
    # The tests start many processes; each would compile darklib anew where writing caches is switched off.
    surroundings = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    for number, step in enumerate(todo, start=1):
        shown = subprocess.list2cmdline([Path(step.command[0]).name, *step.command[1:]])
        print(f"\n== {number}/{len(todo)} {step.name}: {shown}", flush=True)
        started = time.monotonic()
        status = subprocess.run(step.command, cwd=environment.ROOT, env=surroundings, check=False).returncode
        seconds = time.monotonic() - started
        print(
            f"== {step.name}: {'passed' if status == 0 else f'FAILED with status {status}'}, {seconds:.1f} s",
            flush=True,
        )
        done.append((step, status, seconds))
    return done


def summary(done: list[tuple[Step, int, float]]) -> tuple[str, int]:
    """Return the closing lines and the exit status of the whole."""
    total = sum(seconds for _, _, seconds in done)
    failed = [step.name for step, status, _ in done if status != 0]
    if failed:
        return f"FAILED after {total:.0f} s: {', '.join(failed)}.", 1
    return f"All {len(done)} checks passed in {total:.0f} s.", 0


def main() -> None:
    """Prepare the environment, go on inside it, and run every step."""
    environment.rerun_inside()
    parser = argparse.ArgumentParser(description="Every check of the project.")
    parser.add_argument("--long", action="store_true", help="run the slow tests too")
    parser.add_argument("pytest", nargs="*", metavar="-- ARGUMENT", help="handed on to pytest")
    options = parser.parse_args()
    try:
        done = run(steps(sys.executable, options.pytest, options.long))
    except KeyboardInterrupt:
        sys.exit(130)
    text, status = summary(done)
    print(f"\n{text}", flush=True)
    sys.exit(status)


if __name__ == "__main__":
    main()
