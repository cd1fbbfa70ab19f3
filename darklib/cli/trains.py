"""`darklib trains`: the optical trains, and that one was changed."""

from dataclasses import replace
from typing import Annotated

import typer

from darklib.cli import ranges
from darklib.cli.command import After, DryRun, Limit, Lines, application, common_of, cut, library, tell, tell_lines
from darklib.cli.options import Common
from darklib.jobs.results import TrainsResult

app = application(alone=True)


@app.callback()
def trains(context: typer.Context, limit: Limit = None, after: After = None, lines: Lines = False) -> int:
    """The optical trains. Below: record that one was taken apart, rotated or cleaned."""
    if context.invoked_subcommand is not None:
        return 0
    from darklib.jobs.overview import trains as job
    from darklib.show import documents

    common = common_of(context)
    with library(common) as opened:
        result = job(opened)
    page, following = cut(result.trains, limit, after, lambda entry: entry.ref.fingerprint)
    if lines:
        return tell_lines(documents.train_entry(entry) for entry in page)
    return _told(common, replace(result, trains=tuple(page)), following)


@app.command()
def changed(
    context: typer.Context,
    train: Annotated[str, typer.Argument(metavar="LABEL", help="the train, by label or fingerprint")],
    note: Annotated[str, typer.Option(metavar="T", help="what was done, in your own words")] = "",
    at: Annotated[
        str | None, typer.Option(metavar="TIME", help="when, as 2026-10-03 or with a time; default: now")
    ] = None,
    dry_run: DryRun = False,
) -> int:
    """Records that a train was taken apart, rotated or cleaned: flats from before do not serve lights from after."""
    common = common_of(context)
    when = ranges.moment(at)
    from darklib.jobs.correct import train_changed

    with library(common) as opened:
        return _told(common, train_changed(opened, train, at=when, note=note, dry_run=dry_run))


def _told(common: Common, result: TrainsResult, following: str | None = None) -> int:
    from darklib.show import documents, stock_screens

    return tell(
        common,
        lambda: documents.trains(result, following),
        lambda out: stock_screens.trains(out, result, following),
    )
