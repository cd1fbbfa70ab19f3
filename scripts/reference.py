"""COMMANDS.md, the reference of the command line, made from the help that the program itself prints.

`python scripts/reference.py` writes it; with `--check` it only says whether the file is up to date, and ends with 1
where it isn't.
"""

from __future__ import annotations

import contextlib
import difflib
import importlib
import io
import os
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

TARGET = ROOT / "COMMANDS.md"
HEAD = """\
# Commands

Made from the program's own help by `python scripts/reference.py`; a check fails when it is out of date.
"""


def command_lines() -> Iterator[list[str]]:
    """Yield the words of every command in the order of the help, each followed by the commands below it."""
    from darklib.cli.command import built
    from darklib.cli.index import SECTIONS

    for _, entries in SECTIONS:
        for entry in entries:
            yield [entry.name]
            module = importlib.import_module(f"darklib.cli.{entry.module}")
            for below in getattr(built(module.app, entry.name), "commands", {}):
                yield [entry.name, below]


def help_of(words: list[str]) -> str:
    """Return what `darklib WORDS... --help` prints on a terminal of 80 columns. RuntimeError where it fails."""
    from darklib.cli.main import perform

    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        status = perform([*words, "--help"])
    if status != 0:
        raise RuntimeError(f"`darklib {' '.join(words)} --help` ended with status {status}")
    return "\n".join(line.rstrip() for line in printed.getvalue().strip().splitlines())


def reference() -> str:
    """Return the whole text of COMMANDS.md."""
    before = {name: os.environ.get(name) for name in ("COLUMNS", "NO_COLOR", "TERM")}
    os.environ.update(COLUMNS="80", NO_COLOR="1", TERM="dumb")
    try:
        parts = [HEAD, _fenced(help_of([]))]
        for words in command_lines():
            level = "#" * (1 + len(words))
            parts.append(f"{level} darklib {' '.join(words)}\n\n{_fenced(help_of(words))}")
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
    return "\n".join(parts)


def _fenced(text: str) -> str:
    return f"```text\n{text}\n```\n"


def main(arguments: list[str]) -> int:
    """Write the file or, with `--check`, compare it."""
    wanted = reference()
    if arguments != ["--check"]:
        TARGET.write_text(wanted, encoding="utf-8", newline="\n")
        print(f"Wrote {TARGET.name}.")
        return 0
    found = TARGET.read_text(encoding="utf-8") if TARGET.exists() else ""
    if found == wanted:
        print(f"{TARGET.name} is up to date.")
        return 0
    sys.stdout.writelines(
        difflib.unified_diff(
            found.splitlines(keepends=True), wanted.splitlines(keepends=True), TARGET.name, "the program's help"
        )
    )
    print(f"{TARGET.name} is out of date. Run `python scripts/reference.py`.")
    return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
