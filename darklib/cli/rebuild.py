"""`darklib rebuild`: makes the catalogue anew."""

import typer

from darklib.cli.command import DryRun, application, common_of, progress_of, tell

app = application()


@app.command()
def rebuild(context: typer.Context, dry_run: DryRun = False) -> int:
    """Makes the catalogue anew from the stored files and the journal, and names what was otherwise before."""
    from darklib.jobs.audit import rebuild as job
    from darklib.jobs.library import find_root
    from darklib.show import documents, safety_screens

    common = common_of(context)
    # Not opened as other commands do: the catalogue may be what is broken.
    result = job(find_root(common.library), dry_run=dry_run, progress=progress_of(common))
    return tell(common, lambda: documents.rebuild(result), lambda out: safety_screens.rebuild(out, result))
