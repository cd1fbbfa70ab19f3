"""`darklib demo`: an invented library, and the main job walked on it."""

import contextlib
import io
import json
import shlex
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

from darklib.cli.command import DryRun, application, common_of, out_of, progress_of, tell
from darklib.cli.options import Common
from darklib.facts.errors import Exit

if TYPE_CHECKING:
    from darklib.jobs.results import DemoResult

app = application()


SERVED = (Exit.DONE, Exit.ATTENTION)
"""Statuses after which the walk goes on: the scenario has files that need attention, on purpose."""

Command = tuple[str, ...]
"""The arguments of one command line."""


@dataclass(frozen=True, slots=True)
class Step:
    """A screenful: what it is about, in a sentence, and its commands. brief: each told in a line, not in full."""

    about: str
    commands: tuple[Command, ...]
    brief: bool = False


@app.command()
def demo(
    context: typer.Context,
    folder: Annotated[
        str | None, typer.Argument(metavar="DIR", help="where; default: darklib-demo in this folder")
    ] = None,
    dry_run: DryRun = False,
) -> int:
    """Makes a library with an invented scenario and shows the main job on it, a screenful a step."""
    from darklib.jobs.demo import make
    from darklib.show import documents

    common = common_of(context)
    result = make(folder, dry_run=dry_run, progress=progress_of(common))
    walk = [] if dry_run else steps(result)
    ran = _ran_silently(walk) if common.json else _walked(common, result, walk)
    failed = any(status not in SERVED for _, status in ran)
    if common.json:
        tell(common, lambda: documents.demo(result, ran), lambda out: None)
    return int(Exit.FAILED if failed else Exit.DONE)


def steps(result: "DemoResult") -> list[Step]:
    """The main job, from the cards to the hand-over, as command lines."""
    here = ("--library", result.library)
    options = result.options or ((),) * len(result.cards)
    cards = [(*here, "ingest", card, *given) for card, given in zip(result.cards, options, strict=True)]
    last = ("--night", "last")
    return [
        Step("A card is taken in. What each frame is comes from its header, its folder or its pixels.", (cards[0],)),
        Step("The other cards likewise, with what the files themselves do not say.", tuple(cards[1:]), brief=True),
        Step("May the first card be erased?", ((*here, "check", result.cards[0]),)),
        Step("The library at a glance.", ((*here, "status"),)),
        Step("The calibration stock that there is now.", ((*here, "sets"),)),
        Step("The lights, in batches that want the same calibration frames.", ((*here, "batches"),)),
        Step("What fits the newest lights, how well, and why.", ((*here, "match", *last),)),
        Step("What lights lack, and the plan for shooting it.", ((*here, "gaps", "--plan"),)),
        Step(
            "The newest lights and what fits them, handed over for stacking.",
            ((*here, "export", *last, "--to", result.export_to, "--as", "list"),),
        ),
    ]


def _walked(common: Common, result: "DemoResult", walk: Sequence[Step]) -> list[tuple[Command, int]]:
    from darklib.cli.main import perform
    from darklib.show.out import is_terminal

    out = out_of(common)
    if not walk:
        out.paragraph(f"A demo library would be made in {result.library}; nothing was changed.", hang=2)
        out.next("darklib demo", "makes it and walks the main job on it")
        return []
    out.paragraph(f"An invented library is in {result.library}", hang=2)
    out.line(f"Beside it are folders that stand for {len(result.cards)} memory cards.")
    pausing = is_terminal(sys.stdin) and is_terminal(sys.stdout) and not common.quiet
    ran: list[tuple[Command, int]] = []
    for number, step in enumerate(walk, start=1):
        out.line()
        out.heading(f"== Step {number} of {len(walk)}: {step.about}")
        for command in step.commands:
            out.paragraph(f"$ darklib {_as_typed(command)}", hang=2, style="bold")
            sys.stdout.flush()
            if pausing and command == step.commands[0]:
                _wait()
            if step.brief:
                status, document = _silently(command)
                if "counts" in document:
                    out.paragraph(_briefly(document["counts"]), indent=2)
                for remark in document.get("remarks", ()):
                    if "hot pixels" in remark:
                        out.paragraph(remark, indent=2)
            else:
                plain = ["--no-colour"] if common.no_colour else []
                status = perform((*command, "--quiet", *plain))
            ran.append((command, status))
            if status not in SERVED:
                return ran
    out.next(f"darklib --library {_as_typed((result.library,))} match --verbose", "looks around in it yourself")
    return ran


def _ran_silently(walk: Sequence[Step]) -> list[tuple[Command, int]]:
    ran: list[tuple[Command, int]] = []
    for command in (command for step in walk for command in step.commands):
        ran.append((command, _silently(command)[0]))
        if ran[-1][1] not in SERVED:
            break
    return ran


def _silently(command: Command) -> tuple[int, dict[str, Any]]:
    """Runs a command for its document, and returns its exit status and that."""
    from darklib.cli.main import perform

    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        status = perform((*command, "--quiet", "--json"))
    return status, json.loads(printed.getvalue() or "{}")


def _briefly(counts: dict[str, int]) -> str:
    """What became of a card, in a line."""
    named = (("stored", "stored"), ("duplicates", "known"), ("set_aside", "set aside"), ("undecided", "undecided"))
    return ", ".join(f"{counts[key]} {word}" for key, word in named if counts[key] or key == "stored")


def _as_typed(command: Sequence[str]) -> str:
    return shlex.join(command)


def _wait() -> None:
    sys.stderr.write("(Enter runs it) ")
    sys.stderr.flush()
    sys.stdin.readline()
