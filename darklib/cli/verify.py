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
) -> int:
    """Reads and hashes every stored file again, checks the catalogue, and names what differs. Changes nothing."""
    common = common_of(context)
    part = ranges.share(sample)
    from darklib.jobs.audit import verify as job
    from darklib.show import documents, safety_screens

    with library(common) as opened:
        result = job(opened, sample=part, against=against, progress=progress_of(common))
    return tell(
        common,
        lambda: documents.verify(result),
        lambda out: safety_screens.verify(out, result),
        attention=result.needs_attention,
    )
