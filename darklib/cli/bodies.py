"""`darklib bodies`: the cameras; names, joins and changes of them."""

from dataclasses import replace
from enum import StrEnum
from typing import Annotated

import typer

from darklib.cli import ranges
from darklib.cli.command import After, DryRun, Limit, Lines, application, common_of, cut, library, tell, tell_lines
from darklib.cli.options import Common
from darklib.jobs.results import BodiesResult

app = application(alone=True)


class What(StrEnum):
    """What can happen to a camera."""

    REMAPPED = "remapped"
    CLEANED = "cleaned"
    FIRMWARE = "firmware"
    MODIFIED = "modified"


@app.callback()
def bodies(context: typer.Context, limit: Limit = None, after: After = None, lines: Lines = False) -> int:
    """The cameras. Below: name one, join two that are one, or mark one as changed."""
    if context.invoked_subcommand is not None:
        return 0
    from darklib.jobs.overview import bodies as job
    from darklib.show import documents

    common = common_of(context)
    with library(common) as opened:
        result = job(opened)
    page, following = cut(result.bodies, limit, after, lambda entry: entry.ref.id)
    if lines:
        return tell_lines(documents.body_entry(entry) for entry in page)
    return _told(common, replace(result, bodies=tuple(page)), following)


@app.command()
def name(
    context: typer.Context,
    body: Annotated[str, typer.Argument(metavar="ID", help="the camera, by id or label")],
    label: Annotated[str, typer.Argument(metavar="LABEL", help="your name for it")],
    dry_run: DryRun = False,
) -> int:
    """Gives a camera a name of your own."""
    from darklib.jobs.correct import name_body

    common = common_of(context)
    with library(common) as opened:
        return _told(common, name_body(opened, body, label, dry_run=dry_run))


@app.command()
def join(
    context: typer.Context,
    body: Annotated[str, typer.Argument(metavar="ID", help="the camera as it was known first")],
    into: Annotated[str, typer.Argument(metavar="ID", help="the camera it is")],
    dry_run: DryRun = False,
) -> int:
    """Joins two that are one camera: known first without and later with its serial number."""
    from darklib.jobs.correct import join_bodies

    common = common_of(context)
    with library(common) as opened:
        return _told(common, join_bodies(opened, body, into, dry_run=dry_run))


@app.command()
def changed(
    context: typer.Context,
    body: Annotated[str, typer.Argument(metavar="ID", help="the camera, by id or label")],
    what: Annotated[What, typer.Option(help="a remap ends old darks, a cleaning old flats")],
    at: Annotated[
        str | None, typer.Option(metavar="TIME", help="when, as 2026-10-03 or with a time; default: now")
    ] = None,
    note: Annotated[str, typer.Option(metavar="T", help="in your own words")] = "",
    dry_run: DryRun = False,
) -> int:
    """Records that a camera was changed, so that what was shot before is not used for what is shot after."""
    common = common_of(context)
    when = ranges.moment(at)
    from darklib.jobs.correct import body_changed

    with library(common) as opened:
        return _told(common, body_changed(opened, body, what=what.value, at=when, note=note, dry_run=dry_run))


def _told(common: Common, result: BodiesResult, following: str | None = None) -> int:
    from darklib.show import documents, stock_screens

    return tell(
        common,
        lambda: documents.bodies(result, following),
        lambda out: stock_screens.bodies(out, result, following),
    )
