"""`darklib check`: may this card be erased?"""

from typing import Annotated

import typer

from darklib.cli.command import application, common_of, library, progress_of, tell

app = application()


@app.command()
def check(
    context: typer.Context,
    paths: Annotated[list[str], typer.Argument(metavar="PATH", help="the card or folder")],
) -> int:
    """May this card be erased? Every file is looked up by its content, and its stored copy read again now."""
    from darklib.jobs.audit import check as job
    from darklib.show import documents, safety_screens

    common = common_of(context)
    with library(common) as opened:
        result = job(opened, paths, progress=progress_of(common))
    return tell(
        common,
        lambda: documents.check(result),
        lambda out: safety_screens.check(out, result),
        attention=result.needs_attention,
    )
