"""`darklib sets`: the calibration stock."""

from typing import Annotated

import typer

from darklib.cli.command import After, Limit, Lines, application, common_of, cut, library, tell, tell_lines
from darklib.facts.frame import Kind

app = application()


@app.command()
def sets(
    context: typer.Context,
    kind: Annotated[Kind | None, typer.Option(help="only darks, biases or flats")] = None,
    body: Annotated[str | None, typer.Option(metavar="ID", help="only this camera, by id or label")] = None,
    limit: Limit = None,
    after: After = None,
    lines: Lines = False,
) -> int:
    """What calibration stock there is: sets of darks, biases and flats with count, temperature and age."""
    from darklib.jobs.overview import sets as job
    from darklib.show import documents, stock_screens

    common = common_of(context)
    with library(common) as opened:
        result = job(opened, kind=kind, body=body)
    page, following = cut(result.sets, limit, after, lambda entry: entry.set.id)
    if lines:
        return tell_lines(documents.set_entry(entry) for entry in page)
    return tell(common, lambda: documents.sets(page, following), lambda out: stock_screens.sets(out, page, following))
