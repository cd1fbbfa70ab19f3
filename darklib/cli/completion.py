"""Completion of commands and options in the shell. Loads the modules of commands, which load nothing heavy."""

from collections.abc import Sequence
from importlib import import_module
from typing import Annotated, Any

import typer

from darklib.cli.command import built
from darklib.cli.index import COMMANDS
from darklib.cli.options import FLAGS, LIBRARY

app = typer.Typer(
    name="darklib", add_completion=True, rich_markup_mode=None, pretty_exceptions_enable=False, no_args_is_help=False
)


@app.callback()
def _options(
    library: Annotated[str | None, typer.Option("--library", metavar="DIR", help=LIBRARY)] = None,
    json: Annotated[bool, typer.Option("--json", help=FLAGS["--json"])] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=FLAGS["--quiet"])] = False,
    verbose: Annotated[bool, typer.Option("--verbose", help=FLAGS["--verbose"])] = False,
    debug: Annotated[bool, typer.Option("--debug", help=FLAGS["--debug"])] = False,
    no_colour: Annotated[bool, typer.Option("--no-colour", help=FLAGS["--no-colour"])] = False,
    version: Annotated[bool, typer.Option("--version", help="print the version")] = False,
) -> None:
    """Only seen by the shell: the commands themselves are run by `main`."""


def complete(arguments: Sequence[str]) -> int:
    """Answers the shell, or installs or prints the completion. Returns an exit status."""
    group: Any = typer.main.get_command(app)
    for name, entry in COMMANDS.items():
        command = built(import_module(f"darklib.cli.{entry.module}").app, name)
        command.help = entry.does
        group.add_command(command, name)
    outcome = group.main(list(arguments), prog_name="darklib", standalone_mode=False)
    return outcome if isinstance(outcome, int) else 0
