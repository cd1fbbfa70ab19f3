"""The door: takes the common options, finds the command, runs it, and turns every outcome into an exit status.

Start-up is part of the interface: `--version` and `--help` load nothing but the table of commands.
"""

import gc
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import TYPE_CHECKING, Any

from darklib import __version__
from darklib.cli.index import COMMANDS, SECTIONS
from darklib.cli.options import FLAGS, LIBRARY, LIBRARY_ELSE, Common, take
from darklib.facts.errors import DarklibError, Exit

if TYPE_CHECKING:
    from typing import NoReturn

HELP = frozenset({"-h", "--help"})
COMPLETION = frozenset({"--install-completion", "--show-completion"})
COMPLETING = "_DARKLIB_COMPLETE"


def run() -> "NoReturn":
    """Runs the command line of this process and ends it with the exit status of the contract."""
    for stream in (sys.stdout, sys.stderr):
        # Names of files may hold bytes, and consoles may lack letters: shown as codes, never an error.
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
    # A command makes some hundred thousand lasting objects within its first second; looking through them again and
    # again for circles, and once more at the end, would cost a fifth of that second.
    gc.set_threshold(1_000_000)
    status = perform(sys.argv[1:])
    try:
        sys.stdout.flush()
    except (BrokenPipeError, ValueError, AttributeError):
        _let_go_of_stdout()
    gc.freeze()
    sys.exit(status)


def perform(arguments: Sequence[str]) -> int:
    """Runs one command line and returns its exit status. Nothing but KeyboardInterrupt in flight gets out."""
    common = Common(json="--json" in arguments, debug="--debug" in arguments, lines="--lines" in arguments)
    try:
        common, rest = take(arguments)
        return _dispatch(common, rest)
    except DarklibError as problem:
        return _failed(problem, common)
    except KeyboardInterrupt:
        return _stopped(common)
    except BrokenPipeError:
        _let_go_of_stdout()
        return int(Exit.DONE)
    except Exception as error:  # noqa: BLE001 - the one place where a bug becomes a sentence
        return _bug(error, common)


def _dispatch(common: Common, rest: list[str]) -> int:
    if _completing():
        from darklib.cli.completion import complete

        return complete(rest)
    if rest and rest[0] == "--version":
        sys.stdout.write(f"darklib {__version__}\n")
        return 0
    if rest and rest[0] in HELP:
        sys.stdout.write(overview())
        return 0
    if rest and rest[0] in COMPLETION:
        from darklib.cli.completion import complete

        return complete(rest)
    if not rest:
        from darklib.cli.status import bare

        return bare(common)
    name, *arguments = rest
    entry = COMMANDS.get(name)
    if entry is None:
        raise _no_such_command(name)
    return _run_command(import_module(f"darklib.cli.{entry.module}"), name, arguments, common)


def _run_command(module: Any, name: str, arguments: list[str], common: Common) -> int:
    import typer

    from darklib.cli.command import built

    try:
        outcome = built(module.app, name).main(
            arguments, prog_name=f"darklib {name}", standalone_mode=False, obj=common
        )
    except typer.TyperException as error:
        raise DarklibError(
            "usage", _plainly(error.format_message()), remedy=f"See `darklib {name} --help`.", status=Exit.USAGE
        ) from error
    except (typer.Abort, EOFError) as error:
        raise KeyboardInterrupt from error
    status = outcome if isinstance(outcome, int) else 0
    # Typer turns Ctrl-C into this status by itself.
    return _stopped(common) if status == Exit.STOPPED else status


def overview() -> str:
    """The help of the whole program, made from the table of commands."""
    widest = max(len(name) for name in COMMANDS)
    lines = [
        "Usage: darklib [--library DIR] [--json] COMMAND ...",
        "",
        "Keeps astronomical calibration frames: takes in cards, tells which darks, flats",
        "and biases fit which lights, what is missing, and hands the files over for",
        "stacking. `darklib` alone shows the library.",
    ]
    for title, entries in SECTIONS:
        lines += ["", f"{title}:"]
        lines += [f"  {entry.name.ljust(widest)}  {entry.does}" for entry in entries]
    lines += ["", "Options of every command, before or after its name:"]
    lines += [f"  {'--library DIR'.ljust(13)}  {LIBRARY}"]
    lines += [f"  {flag.ljust(13)}  {does}" for flag, does in FLAGS.items()]
    lines += [
        f"  {'-h, --help'.ljust(13)}  this help, or with a command the command's own",
        *LIBRARY_ELSE,
        "",
        "Options without a command:",
        f"  {'--version'.ljust(20)}  print the version",
        "  --install-completion  let your shell complete commands and options",
        f"  {'--show-completion'.ljust(20)}  print what that would install",
        "",
        "Exit status: 0 done, 1 it failed, 2 wrong usage or configuration, 3 something",
        "needs attention, 130 stopped.",
    ]
    return "\n".join(lines) + "\n"


def _no_such_command(name: str) -> DarklibError:
    from difflib import get_close_matches

    if name.startswith("-"):
        known = ["--library", *FLAGS, "--help", "--version", *sorted(COMPLETION)]
        what, near = "option", get_close_matches(name, known, 1)
    else:
        what, near = "command", get_close_matches(name, COMMANDS, 1)
    hint = f"Did you mean `{near[0]}`? " if near else ""
    return DarklibError(
        "usage", f"There is no {what} {name!r}.", remedy=f"{hint}See `darklib --help`.", status=Exit.USAGE
    )


def _failed(problem: DarklibError, common: Common) -> int:
    """One sentence and what to do about it on standard error; under --json a document on standard output as well."""
    from darklib.show.text import harmless

    text = harmless(problem.text)
    if problem.path and harmless(problem.path) not in text:
        text = f"{text} ({harmless(problem.path)})"
    _complain(text)
    if problem.remedy:
        _complain(harmless(problem.remedy))
    if common.for_programs:
        from darklib.show import documents

        try:
            documents.write(documents.error(problem), sys.stdout)
        except BrokenPipeError:
            _let_go_of_stdout()
    return int(problem.status)


def _stopped(common: Common) -> int:
    return _failed(
        DarklibError(
            "stopped",
            "Stopped.",
            remedy="What was done so far is safe; the same command goes on from there.",
            status=Exit.STOPPED,
        ),
        common,
    )


def _bug(error: Exception, common: Common) -> int:
    if common.debug:
        import traceback

        _complain(traceback.format_exc())
    words = _one_line(str(error)) or "no further words"
    remedy = "" if common.debug else "This is a mistake in darklib; run it again with --debug to see where."
    return _failed(DarklibError("unexpected", f"Unexpected {type(error).__name__}: {words}", remedy=remedy), common)


def _complain(text: str) -> None:
    try:
        sys.stderr.write(text + "\n")
    except (BrokenPipeError, ValueError, AttributeError):
        return


def _plainly(message: str) -> str:
    return _one_line(message).replace("Value error, ", "")  # a word of the library that checks values


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _completing() -> bool:
    import os

    return bool(os.environ.get(COMPLETING))


def _let_go_of_stdout() -> None:
    """Nobody reads any more: what is still to be written goes nowhere, without a word."""
    import io

    sys.stdout = io.StringIO()
