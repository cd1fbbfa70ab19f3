"""What every command module shares: how its options are declared, the library opened, and the outcome told."""

import copy
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from darklib.cli.options import FLAGS, LIBRARY, Common
from darklib.facts.errors import DarklibError, Exit

if TYPE_CHECKING:
    from darklib.jobs.library import Opened
    from darklib.jobs.ports import Ask, Progress
    from darklib.show.objects import Json
    from darklib.show.out import Out

T = TypeVar("T")

CONTEXT = {"help_option_names": ["-h", "--help"]}

Limit = Annotated[int | None, typer.Option("--limit", metavar="N", min=1, help="at most so many")]
After = Annotated[
    str | None, typer.Option("--after", metavar="ID", help="go on after this one (`next` of the last page)")
]
Lines = Annotated[bool, typer.Option("--lines", help="JSON Lines: one item a line")]
DryRun = Annotated[bool, typer.Option("--dry-run", help="show what would be done, and change nothing")]
Ids = Annotated[
    list[str],
    typer.Argument(
        metavar="ID",
        help="ids or unique beginnings of them, paths, series or batch ids; `-` reads them from standard input",
    ),
]


def application(*, alone: bool = False) -> typer.Typer:
    """An empty command, to be filled by a module. alone: it has commands below it but also works without one."""
    return typer.Typer(
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        invoke_without_command=alone,
        context_settings=CONTEXT,
    )


def built(app: typer.Typer, name: str) -> Any:
    """The command of a module, with the common options in its help and its completion.

    They are taken off the command line before (`options.take`), so here they only have to be seen.
    """
    command: Any = typer.main.get_command(app)
    command.name = name
    seen: Any = typer.main.get_command(_common)
    _add_common(command, seen.params)
    return command


def _add_common(command: Any, params: Sequence[Any]) -> None:
    for param in command.params:
        if param.param_type_name == "argument":
            _plainly(param)
    for param in params:
        twin = copy.copy(param)
        twin.expose_value = False
        command.params.append(twin)
    for below in getattr(command, "commands", {}).values():
        _add_common(below, params)


def _plainly(argument: Any) -> None:
    """Has an argument shown as the trade writes it, `ID...` or `[PATH]...`, without braces and types."""
    name = argument.metavar
    usage = name if argument.required else f"[{name}]"
    usage += "..." if argument.nargs != 1 else ""
    argument.get_usage_pieces = lambda context: [usage]
    argument.display_type_rich = lambda ctx: ""


_common = application()


@_common.command()
def _seen(
    library: Annotated[str | None, typer.Option("--library", metavar="DIR", help=LIBRARY)] = None,
    json: Annotated[bool, typer.Option("--json", help=FLAGS["--json"])] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=FLAGS["--quiet"])] = False,
    verbose: Annotated[bool, typer.Option("--verbose", help=FLAGS["--verbose"])] = False,
    debug: Annotated[bool, typer.Option("--debug", help=FLAGS["--debug"])] = False,
    no_colour: Annotated[bool, typer.Option("--no-colour", help=FLAGS["--no-colour"])] = False,
) -> None:
    """Never runs: it only declares the common options once."""


def common_of(context: typer.Context) -> Common:
    """The common options of a running command."""
    found = context.find_object(Common)
    return found if isinstance(found, Common) else Common()


@contextmanager
def library(common: Common) -> Iterator["Opened"]:
    """The library of this command line, open. Raises DarklibError where there is none."""
    from darklib.jobs.library import find_root, open_library

    with open_library(find_root(common.library)) as opened:
        yield opened


def one_batch(batch: str | None, night: str | None, target: str | None) -> None:
    """DarklibError (usage) where a batch is named and its lights are said again, perhaps otherwise."""
    if batch is not None and (night is not None or target is not None):
        raise DarklibError(
            "usage",
            "--batch names the lights already; --night and --target are not for use with it.",
            remedy="Leave out one or the other.",
            status=Exit.USAGE,
        )


def tell(
    common: Common,
    document: Callable[[], "Json"],
    screen: Callable[["Out"], None],
    *,
    attention: bool = False,
) -> int:
    """Prints the outcome, as a document or as a screen, and returns the exit status."""
    try:
        if common.json:
            from darklib.show.documents import write

            write(document(), sys.stdout)
        else:
            screen(out_of(common))
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever reads has seen enough. What was done is done, and its status stands.
        import io

        sys.stdout = io.StringIO()
    return int(Exit.ATTENTION if attention else Exit.DONE)


def tell_lines(items: Iterable["Json"], *, attention: bool = False) -> int:
    """Prints items as JSON Lines and returns the exit status."""
    from darklib.show.documents import write

    try:
        for item in items:
            write(item, sys.stdout)
        sys.stdout.flush()
    except BrokenPipeError:
        import io

        sys.stdout = io.StringIO()
    return int(Exit.ATTENTION if attention else Exit.DONE)


def out_of(common: Common) -> "Out":
    """Standard output for people."""
    from darklib.show.out import standard_out

    return standard_out(quiet=common.quiet, verbose=common.verbose, no_colour=common.no_colour)


def progress_of(common: Common) -> "Progress":
    """Progress on standard error: a bar on a terminal, plain lines elsewhere, nothing when quiet."""
    if common.quiet:
        from darklib.jobs.ports import Silent

        return Silent()
    from darklib.show.progress import progress_on

    return progress_on(sys.stderr, no_colour=common.no_colour)


def ask_of(common: Common, progress: "Progress") -> "Ask":
    """Somebody to ask: the person at the terminal, or nobody where there is none."""
    from darklib.jobs.ports import NobodyToAsk
    from darklib.show.out import is_terminal

    if common.for_programs or not (is_terminal(sys.stdin) and is_terminal(sys.stderr)):
        return NobodyToAsk()
    from darklib.show.asking import AtTerminal

    return AtTerminal(sys.stdin, sys.stderr, progress)


def ids_of(given: Sequence[str]) -> list[str]:
    """Ids as written; `-` stands for those on standard input, one a line. Raises DarklibError (usage) without any."""
    ids: list[str] = []
    for text in given:
        if text == "-":
            ids += [line.strip() for line in sys.stdin if line.strip()]
        else:
            ids.append(text)
    if not ids:
        raise DarklibError(
            "usage", "No id was given.", remedy="Give ids, or `-` and one a line on standard input.", status=Exit.USAGE
        )
    return ids


def cut(
    items: Sequence[T], limit: int | None, after: str | None, id_of: Callable[[T], str]
) -> tuple[list[T], str | None]:
    """A page of a list: what comes after the item with the id `after`, at most `limit` ids, and the id to go on from.

    Neighbours with one id stay together. Raises DarklibError where no item has the id `after`.
    """
    rest = list(items)
    if after is not None:
        places = [place for place, item in enumerate(rest) if id_of(item) == after]
        if not places:
            raise DarklibError(
                "not_found",
                f"Nothing in this list has the id {after!r}.",
                remedy="Give --after the `next` of the page before.",
            )
        rest = rest[places[-1] + 1 :]
    if limit is None:
        return rest, None
    page: list[T] = []
    ids: set[str] = set()
    for place, item in enumerate(rest):
        if id_of(item) not in ids and len(ids) == limit:
            return rest[:place], id_of(rest[place - 1])
        ids.add(id_of(item))
        page.append(item)
    return page, None
