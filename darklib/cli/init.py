"""`darklib init`: makes a library."""

from typing import Annotated

import typer

from darklib.cli.command import DryRun, application, common_of, tell

app = application()


@app.command()
def init(
    context: typer.Context,
    folder: Annotated[
        str | None, typer.Argument(metavar="DIR", help="where; default: --library, else your data folder")
    ] = None,
    dry_run: DryRun = False,
) -> int:
    """Makes a library: a catalogue, an inbox and a commented configuration file. Never touches an existing one."""
    from darklib.jobs.library import init as job
    from darklib.show import change_screens, documents

    common = common_of(context)
    result = job(folder or common.library, dry_run=dry_run)
    return tell(common, lambda: documents.init(result), lambda out: change_screens.init(out, result))
