"""`darklib sensor`: the cameras measured from the library's own frames."""

import sys
from typing import Annotated

import typer

from darklib.cli.command import application, common_of, library, progress_of, tell

app = application()


@app.command()
def sensor(
    context: typer.Context,
    body: Annotated[str | None, typer.Option(metavar="ID", help="only this camera, by id or label")] = None,
    picture: Annotated[
        str | None, typer.Option(metavar="FILE", help="also draw dark current and hot pixels to this .png or .svg file")
    ] = None,
) -> int:
    """Gain, read noise, dark current by temperature and hot pixels, measured from the library's own frames.

    Each body in each readout by itself. What was measured is kept, and files are read again only when frames come or
    go or are amended.
    """
    from darklib.jobs.sensor import picture_written
    from darklib.jobs.sensor import sensor as job
    from darklib.show import sensor_document, sensor_screen
    from darklib.show.out import is_terminal
    from darklib.show.sensor_picture import form_of

    common = common_of(context)
    form = form_of(picture) if picture is not None else ""
    with library(common) as opened:
        result = job(opened, body=body, progress=progress_of(common))
        written = None
        if picture is not None:
            from darklib.show.sensor_picture import picture as drawn

            written = picture_written(opened, picture, drawn(result.sensors, form))
    return tell(
        common,
        lambda: sensor_document.sensor(result, written),
        lambda out: sensor_screen.sensor(out, result, chart=is_terminal(sys.stdout), written=written),
    )
