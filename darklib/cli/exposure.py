"""`darklib exposure`: how well lights were exposed, and how long to expose."""

from typing import Annotated

import typer

from darklib.cli import ranges
from darklib.cli.command import application, common_of, library, tell
from darklib.jobs.asked import Nights

app = application()


@app.command()
def exposure(
    context: typer.Context,
    night: Annotated[str | None, typer.Option(metavar="D", help="a night, a range A:B, or `last`")] = None,
    batch: Annotated[str | None, typer.Option(metavar="ID", help="only this batch")] = None,
    signal: Annotated[
        float | None,
        typer.Option(
            metavar="RATE", min=1e-9, help="electrons a second and pixel of the source; default: a tenth of the sky"
        ),
    ] = None,
    wished: Annotated[
        float | None,
        typer.Option(metavar="RATIO", min=1e-9, help="signal-to-noise wished for it: how many lights to go?"),
    ] = None,
) -> int:
    """How well lights were exposed: sky against reading, saturation, the histogram's gap, and how long to expose.

    Without arguments: the newest night's. What is not measured is assumed, and said.
    """
    common = common_of(context)
    nights = Nights(last=True) if night is None and batch is None else ranges.nights(night)
    from darklib.jobs.exposure import exposure as job
    from darklib.show import exposure_document, exposure_screen

    with library(common) as opened:
        result = job(opened, nights=nights, batch=batch, signal_e_s=signal, wished=wished)
    return tell(common, lambda: exposure_document.exposure(result), lambda out: exposure_screen.exposure(out, result))
