"""`darklib retire`: takes frames out of matching."""

from typing import Annotated

import typer

from darklib.cli.command import DryRun, Ids, application, common_of, ids_of, library, tell

app = application()


@app.command()
def retire(
    context: typer.Context,
    ids: Ids,
    note: Annotated[str, typer.Option(metavar="T", help="why, in your own words")] = "",
    dry_run: DryRun = False,
) -> int:
    """Takes frames out of matching. Nothing is deleted."""
    from darklib.jobs.correct import retire as job
    from darklib.show import change_screens, documents

    common = common_of(context)
    frames = ids_of(ids)
    with library(common) as opened:
        result = job(opened, frames, note=note, dry_run=dry_run)
    return tell(
        common,
        lambda: documents.changed("retire", result),
        lambda out: change_screens.changed(
            out,
            result,
            done="Retired",
            wanted="Would retire",
            following=("darklib match", "shows what fits without them; `darklib restore ID...` takes this back"),
        ),
    )
