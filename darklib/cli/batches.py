"""`darklib batches`: the batches of lights."""

from typing import Annotated

import typer

from darklib.cli import ranges
from darklib.cli.command import After, Limit, Lines, application, common_of, cut, library, tell, tell_lines

app = application()


@app.command()
def batches(
    context: typer.Context,
    night: Annotated[str | None, typer.Option(metavar="D", help="a night, a range A:B, or `last`")] = None,
    target: Annotated[str | None, typer.Option(metavar="T", help="only this target")] = None,
    limit: Limit = None,
    after: After = None,
    lines: Lines = False,
) -> int:
    """The batches of lights: those of one night and target that want the same calibration frames."""
    common = common_of(context)
    nights = ranges.nights(night)
    from darklib.jobs.overview import batches as job
    from darklib.show import documents, objects, stock_screens

    with library(common) as opened:
        result = job(opened, nights=nights, target=target)
        root = opened.root
    page, following = cut(result.batches, limit, after, lambda batch: batch.id)
    if lines:
        return tell_lines(objects.batch(batch, root) for batch in page)
    return tell(
        common,
        lambda: documents.batches(page, root, following),
        lambda out: stock_screens.batches(out, page, following),
    )
