"""`darklib demo`: an invented library, and the main job walked on it."""

import contextlib
import io
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from darklib.cli.command import DryRun, application, common_of, out_of, progress_of, tell
from darklib.cli.options import Common
from darklib.facts.errors import Exit

if TYPE_CHECKING:
    from darklib.jobs.results import DemoResult

app = application()

Step = tuple[str, tuple[str, ...]]
"""What a step is about, in a sentence, and the arguments of its command."""


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
    if common.json:
        ran = [(command, _silently(command)) for _, command in walk]
        return tell(common, lambda: documents.demo(result, ran), lambda out: None)
    ran = _walked(common, result, walk)
    failed = any(status not in (Exit.DONE, Exit.ATTENTION) for _, status in ran)
    return int(Exit.FAILED if failed else Exit.DONE)


def steps(result: "DemoResult") -> list[Step]:
    """The main job, from the cards to the hand-over, as command lines."""
    here = ("--library", result.library)
    options = result.options or ((),) * len(result.cards)
    taken: list[Step] = [
        (
            "A card is taken in. What each frame is comes from its header, its folder or its pixels.",
            (*here, "ingest", card, *given),
        )
        for card, given in zip(result.cards, options, strict=True)
    ]
    return [
        *taken,
        ("May the first card be erased?", (*here, "check", result.cards[0])),
        ("The library at a glance.", (*here, "status")),
        ("The calibration stock that there is now.", (*here, "sets")),
        ("The lights, in batches that want the same calibration frames.", (*here, "batches")),
        ("What fits the newest lights, how well, and why.", (*here, "match", "--night", "last")),
        ("What all lights lack, and the plan for shooting it.", (*here, "gaps", "--plan")),
        (
            "The newest lights and what fits them, handed over for stacking.",
            (*here, "export", "--night", "last", "--to", result.export_to, "--as", "list"),
        ),
    ]


def _walked(common: Common, result: "DemoResult", walk: Sequence[Step]) -> list[tuple[tuple[str, ...], int]]:
    from darklib.cli.main import perform
    from darklib.show.out import is_terminal

    out = out_of(common)
    if not walk:
        out.line(f"A demo library would be made in {result.library}; nothing was changed.")
        out.next("darklib demo", "makes it and walks the main job on it")
        return []
    out.line(f"An invented library is in {result.library}")
    out.line(f"Folders that stand for memory cards: {', '.join(result.cards)}")
    pausing = is_terminal(sys.stdin) and is_terminal(sys.stdout) and not common.quiet
    ran = []
    for number, (about, command) in enumerate(walk, start=1):
        out.line()
        out.heading(f"== Step {number} of {len(walk)}: {about}")
        out.line((f"$ darklib {_as_typed(command)}", "bold"))
        sys.stdout.flush()
        if pausing:
            _wait()
        ran.append((command, perform((*command, "--quiet", *(["--no-colour"] if common.no_colour else [])))))
    out.next(f"darklib --library {_as_typed((result.library,))} match --verbose", "looks around in it yourself")
    return ran


def _silently(command: tuple[str, ...]) -> int:
    from darklib.cli.main import perform

    with contextlib.redirect_stdout(io.StringIO()):
        return perform((*command, "--quiet", "--json"))


def _as_typed(command: Sequence[str]) -> str:
    import shlex

    return shlex.join(command)


def _wait() -> None:
    sys.stderr.write("(Enter runs it) ")
    sys.stderr.flush()
    sys.stdin.readline()
