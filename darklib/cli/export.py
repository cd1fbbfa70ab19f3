"""`darklib export`: hands over the matched files."""

from enum import StrEnum
from typing import Annotated

import typer

from darklib.cli import ranges
from darklib.cli.command import DryRun, application, common_of, library, one_batch, progress_of, tell
from darklib.facts.errors import DarklibError, Exit

app = application()


class Form(StrEnum):
    """How files are handed over."""

    LIST = "list"
    CSV = "csv"
    JSON = "json"
    LINKS = "links"
    COPIES = "copies"


@app.command()
def export(
    context: typer.Context,
    to: Annotated[str, typer.Option("--to", metavar="DIR", help="the folder to write into")],
    batch: Annotated[str | None, typer.Option(metavar="ID", help="this batch")] = None,
    night: Annotated[
        str | None, typer.Option(metavar="D", help="the batches of a night, a range A:B, or `last`")
    ] = None,
    target: Annotated[str | None, typer.Option(metavar="T", help="all nights of this target, as one picture")] = None,
    form: Annotated[
        Form, typer.Option("--as", help="lists of paths, a table, JSON, links, or copies of the files")
    ] = Form.LIST,
    dry_run: DryRun = False,
) -> int:
    """Hands over lights and what fits them for stacking, always with a manifest. Existing files are never overwritten.

    Ends with 3 where something needed is missing or stale.
    """
    common = common_of(context)
    if batch is None and night is None and target is None:
        raise DarklibError(
            "usage",
            "It is not said which lights to hand over.",
            remedy="Give --batch ID, --night D or --target T.",
            status=Exit.USAGE,
        )
    one_batch(batch, night, target)
    nights = ranges.nights(night)
    from darklib.jobs.export import export as job
    from darklib.show import change_screens, documents, objects

    with library(common) as opened:
        root = opened.root
        result = job(
            opened,
            batch=batch,
            nights=nights,
            target=target,
            to=to,
            form=form.value,
            describe=lambda item: objects.batch(item, root),
            dry_run=dry_run,
            progress=progress_of(common),
        )
    return tell(
        common,
        lambda: documents.export(result),
        lambda out: change_screens.export(out, result, to),
        attention=result.needs_attention,
    )
