"""`darklib set-aside`: what could not be taken in and why."""

from typing import Annotated

import typer

from darklib.cli.command import (
    After,
    DryRun,
    Limit,
    Lines,
    application,
    ask_of,
    common_of,
    cut,
    library,
    progress_of,
    tell,
    tell_lines,
)

app = application()


@app.command()
def set_aside(
    context: typer.Context,
    retry: Annotated[bool, typer.Option("--retry", help="try again to take them in")] = False,
    limit: Limit = None,
    after: After = None,
    lines: Lines = False,
    dry_run: DryRun = False,
) -> int:
    """What could not be taken in, why, and where it is kept."""
    from dataclasses import replace

    from darklib.jobs.audit import retry_set_aside
    from darklib.jobs.audit import set_aside as job
    from darklib.show import documents, ingest_screen

    common = common_of(context)
    progress = progress_of(common)
    with library(common) as opened:
        if retry:
            result = retry_set_aside(opened, dry_run=dry_run, progress=progress, ask=ask_of(common, progress))
        else:
            result = job(opened)
        root = opened.root
    attention = result.retried is not None and result.retried.needs_attention
    page, following = cut(result.set_aside, limit, after, lambda entry: entry.sha256)
    if lines:
        return tell_lines((documents.set_aside_entry(entry) for entry in page), attention=attention)
    cut_result = replace(result, set_aside=tuple(page))
    return tell(
        common,
        lambda: documents.set_aside(cut_result, root, following),
        lambda out: ingest_screen.set_aside(out, result, page, following),
        attention=attention,
    )
