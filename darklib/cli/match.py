"""`darklib match`: the best calibration sets for some lights."""

from typing import Annotated

import typer

from darklib.cli import ranges
from darklib.cli.command import (
    After,
    Limit,
    Lines,
    application,
    common_of,
    cut,
    ids_of,
    library,
    one_batch,
    tell,
    tell_lines,
)
from darklib.jobs.asked import Nights
from darklib.jobs.results import MatchResult

app = application()


@app.command()
def match(
    context: typer.Context,
    paths: Annotated[
        list[str] | None, typer.Argument(metavar="PATH", help="lights to look at without taking them in")
    ] = None,
    night: Annotated[str | None, typer.Option(metavar="D", help="a night, a range A:B, or `last`")] = None,
    target: Annotated[str | None, typer.Option(metavar="T", help="only this target")] = None,
    batch: Annotated[
        str | None, typer.Option(metavar="ID", help="only this batch; `-`: those on standard input")
    ] = None,
    limit: Limit = None,
    after: After = None,
    lines: Lines = False,
) -> int:
    """The best calibration sets for those lights, how well they fit, and why. Without arguments: the newest night's.

    Ends with 3 where something needed is missing or stale.
    """
    common = common_of(context)
    one_batch(batch, night, target)
    nothing_asked = night is None and target is None and batch is None and not paths
    nights = Nights(last=True) if nothing_asked else ranges.nights(night)
    wanted = ids_of([batch]) if batch is not None else [None]
    from darklib.jobs.match import match as job
    from darklib.show import documents, match_screen, objects

    with library(common) as opened:
        found = [job(opened, nights=nights, target=target, batch=one, paths=paths or []) for one in wanted]
        root = opened.root
    result = MatchResult(
        tuple(match for one in found for match in one.matches), tuple(item for one in found for item in one.unread)
    )
    page, following = cut(result.matches, limit, after, lambda item: item.batch.id)
    if lines:
        return tell_lines((objects.match(item, root) for item in page), attention=result.needs_attention)
    return tell(
        common,
        lambda: documents.match(page, result.unread, root, following),
        lambda out: match_screen.match(out, page, result.unread, following),
        attention=result.needs_attention,
    )
