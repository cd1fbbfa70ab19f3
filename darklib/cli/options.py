"""Options common to all commands. They are taken off the command line first, wherever they stand."""

from collections.abc import Sequence
from dataclasses import dataclass

from darklib.facts.errors import DarklibError, Exit

FLAGS: dict[str, str] = {
    "--json": "print one JSON document instead of text",
    "--quiet": "no progress, and no line on what to do next",
    "--verbose": "say more",
    "--debug": "show the traceback of an unexpected error",
    "--no-colour": "plain text, even on a terminal",
}
LIBRARY = "the library's folder"
LIBRARY_ELSE = (
    "Without --library: DARKLIB_LIBRARY, else the nearest parent folder that is a",
    "library, else your data folder.",
)


@dataclass(frozen=True, slots=True)
class Common:
    """The common options as given. lines: JSON Lines were asked for, so failures are JSON as well."""

    library: str | None = None
    json: bool = False
    quiet: bool = False
    verbose: bool = False
    debug: bool = False
    no_colour: bool = False
    lines: bool = False

    @property
    def for_programs(self) -> bool:
        """Whether standard output belongs to a program."""
        return self.json or self.lines


def take(arguments: Sequence[str]) -> tuple[Common, list[str]]:
    """The common options and the rest of the arguments, in order. What follows `--` is left alone.

    Raises DarklibError (usage) where --library has no value.
    """
    given: set[str] = set()
    rest: list[str] = []
    library: str | None = None
    position = 0
    while position < len(arguments):
        argument = arguments[position]
        position += 1
        if argument == "--":
            rest += arguments[position - 1 :]
            break
        if argument in FLAGS:
            given.add(argument)
        elif argument == "--library":
            if position >= len(arguments):
                raise DarklibError(
                    "usage", "--library needs a folder.", remedy="Write --library FOLDER.", status=Exit.USAGE
                )
            library = arguments[position]
            position += 1
        elif argument.startswith("--library="):
            library = argument.removeprefix("--library=")
        else:
            rest.append(argument)
    common = Common(
        library=library or None,
        json="--json" in given,
        quiet="--quiet" in given,
        verbose="--verbose" in given,
        debug="--debug" in given,
        no_colour="--no-colour" in given,
        lines="--lines" in rest,
    )
    return common, rest
