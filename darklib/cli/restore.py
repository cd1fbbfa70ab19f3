"""`darklib restore`: lets retired frames be matched again."""

import typer

from darklib.cli.command import DryRun, Ids, application, common_of, ids_of, library, tell

app = application()


@app.command()
def restore(context: typer.Context, ids: Ids, dry_run: DryRun = False) -> int:
    """Lets retired frames be matched again."""
    from darklib.jobs.correct import restore as job
    from darklib.show import change_screens, documents

    common = common_of(context)
    frames = ids_of(ids)
    with library(common) as opened:
        result = job(opened, frames, dry_run=dry_run)
    return tell(
        common,
        lambda: documents.changed("restore", result),
        lambda out: change_screens.changed(
            out,
            result,
            done="Restored",
            wanted="Would restore",
            following=("darklib match", "shows what fits now"),
        ),
    )
