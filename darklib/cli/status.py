"""`darklib status`, and `darklib` alone: the library at a glance and what to do next."""

import typer

from darklib.cli.command import application, common_of, library, out_of, tell
from darklib.cli.options import Common
from darklib.facts.errors import DarklibError, Exit

app = application()


@app.command()
def status(context: typer.Context) -> int:
    """The library at a glance: cameras, frames by kind, last ingest, what is undecided, what lights lack."""
    return shown(common_of(context))


def shown(common: Common) -> int:
    """Shows the state of the library."""
    from darklib.jobs.overview import status as job
    from darklib.show import documents, stock_screens

    with library(common) as opened:
        result = job(opened)
    return tell(common, lambda: documents.status(result), lambda out: stock_screens.status(out, result))


def bare(common: Common) -> int:
    """`darklib` alone: the state of the library or, where there is none yet, how to make one."""
    try:
        return shown(common)
    except DarklibError as problem:
        # A library that is named and is none is a mistake to be told, whether an option or the environment names it.
        named = common.library is not None or problem.status is Exit.USAGE
        if problem.code != "no_library" or common.for_programs or named:
            raise
    out = out_of(common)
    out.line("There is no darklib library here yet.")
    out.line()
    out.entry("Make one", "darklib init DIR", column=18)
    out.entry("Use yours", "darklib --library DIR ..., or set DARKLIB_LIBRARY", column=18)
    out.entry("Look around first", "darklib demo", column=18)
    out.next("darklib --help", "lists the commands")
    return 0
