"""`darklib frames`: lists frames."""

import sys
from typing import Annotated

import typer

from darklib.cli import ranges
from darklib.cli.command import After, Limit, Lines, application, common_of, library, tell, tell_lines
from darklib.facts.frame import Kind
from darklib.jobs.asked import FramesAsked

app = application()


@app.command()
def frames(
    context: typer.Context,
    kind: Annotated[Kind | None, typer.Option(help="only this kind")] = None,
    body: Annotated[str | None, typer.Option(metavar="ID", help="only this camera, by id or label")] = None,
    night: Annotated[str | None, typer.Option(metavar="D", help="a night, a range A:B, or `last`")] = None,
    exposure: Annotated[str | None, typer.Option(metavar="S", help="seconds, as 300, 1/60 or a range A:B")] = None,
    temperature: Annotated[str | None, typer.Option(metavar="C", help="degrees C, one or a range A:B")] = None,
    filter: Annotated[str | None, typer.Option(metavar="NAME", help="only this filter")] = None,
    train: Annotated[str | None, typer.Option(metavar="LABEL", help="only this optical train")] = None,
    target: Annotated[str | None, typer.Option(metavar="T", help="only this target")] = None,
    retired: Annotated[bool, typer.Option("--retired", help="only retired frames; else only others")] = False,
    undecided: Annotated[bool, typer.Option("--undecided", help="only frames whose kind is not settled")] = False,
    ids: Annotated[
        bool, typer.Option("--ids", help="only ids, one a line, to be read by another command's `-`")
    ] = False,
    limit: Limit = None,
    after: After = None,
    lines: Lines = False,
) -> int:
    """Lists frames, sorted by time."""
    common = common_of(context)
    asked = FramesAsked(
        kind=kind,
        body=body,
        nights=ranges.nights(night),
        exposure=ranges.exposures(exposure),
        temperature=ranges.temperatures(temperature),
        filter=filter,
        train=train,
        target=target,
        retired=retired,
        undecided=undecided,
        limit=limit,
        after=after,
    )
    from darklib.jobs.overview import frames as job
    from darklib.show import documents, objects, stock_screens

    with library(common) as opened:
        result = job(opened, asked)
        root = opened.root
    if lines:
        return tell_lines(objects.frame(frame, root) for frame in result.frames)
    if ids and not common.json:
        sys.stdout.writelines(f"{frame.id}\n" for frame in result.frames)
        return 0
    return tell(
        common,
        lambda: documents.frames(result, root),
        lambda out: stock_screens.frames(out, result, objects.paths(result.frames, root)),
    )
