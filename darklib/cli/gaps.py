"""`darklib gaps`: what lights lack, and a plan for shooting it."""

from typing import Annotated

import typer

from darklib.cli import ranges
from darklib.cli.command import Lines, application, common_of, library, tell, tell_lines

app = application()


@app.command()
def gaps(
    context: typer.Context,
    night: Annotated[
        str | None, typer.Option(metavar="D", help="a night, a range A:B, or `last`; default: all")
    ] = None,
    plan: Annotated[bool, typer.Option("--plan", help="order it into a plan for shooting it")] = False,
    lines: Lines = False,
) -> int:
    """What lights lack: which darks, flats and biases would have to be shot, at which exposure and temperature."""
    common = common_of(context)
    nights = ranges.nights(night)
    from darklib.jobs.plan import gaps as job
    from darklib.show import documents, gaps_screen, objects

    with library(common) as opened:
        result = job(opened, nights=nights, want_plan=plan)
    if lines:
        return tell_lines(objects.gap(gap) for gap in result.gaps)
    return tell(common, lambda: documents.gaps(result), lambda out: gaps_screen.gaps(out, result))
