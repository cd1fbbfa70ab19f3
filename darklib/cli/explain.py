"""`darklib explain`: every fact of one frame and where it came from."""

from contextlib import ExitStack
from typing import Annotated

import typer

from darklib.cli.command import application, common_of, ids_of, library, tell
from darklib.facts.errors import DarklibError, Exit

app = application()


@app.command()
def explain(
    context: typer.Context,
    frame: Annotated[str, typer.Argument(metavar="FILE|ID", help="a file, stored or not, or a frame's id")],
) -> int:
    """Every fact of one frame, where it came from, what was ignored and why, and every amendment."""
    from darklib.jobs.explain import explain as job
    from darklib.show import documents, explain_screen

    common = common_of(context)
    ids = ids_of([frame])
    if len(ids) > 1:
        raise DarklibError(
            "usage", "One frame can be explained at a time.", remedy="Give one id or file.", status=Exit.USAGE
        )
    with ExitStack() as stack:
        try:
            opened = stack.enter_context(library(common))
        except DarklibError as problem:
            # A file can be explained without a library, unless one was asked for by name.
            if problem.code != "no_library" or common.library is not None:
                raise
            opened = None
        result = job(opened, ids[0])
        root = opened.root if opened is not None else None
    return tell(common, lambda: documents.explain(result, root), lambda out: explain_screen.explain(out, result))
