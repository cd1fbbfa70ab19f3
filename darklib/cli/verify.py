"""`darklib verify`: re-reads everything and names what differs."""

from typing import Annotated

import typer

from darklib.cli import ranges
from darklib.cli.command import application, common_of, library, progress_of, tell

app = application()


@app.command()
def verify(
    context: typer.Context,
    sample: Annotated[
        str | None, typer.Option(metavar="SHARE", help="only a random share of the files, as 0.1 or 10%")
    ] = None,
    against: Annotated[str | None, typer.Option(metavar="DIR", help="compare a second copy of the library")] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="with --against: do not note in the journal that the copy is whole")
    ] = False,
) -> int:
    """Reads and hashes every stored file again, checks the catalogue, and names what differs. Changes nothing.

    Where --against finds that a second copy lacks nothing, that is noted in the journal: one copy is not a backup, and
    the library says so until a second one was checked.
    """
    common = common_of(context)
    part = ranges.share(sample)
    from darklib.jobs.audit import verify as job
    from darklib.show import documents, safety_screens

    with library(common) as opened:
        result = job(opened, sample=part, against=against, dry_run=dry_run, progress=progress_of(common))
    return tell(
        common,
        lambda: documents.verify(result),
        lambda out: safety_screens.verify(out, result),
        attention=result.needs_attention,
    )
