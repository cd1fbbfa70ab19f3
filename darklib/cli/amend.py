"""`darklib amend`: corrects what was recorded of frames."""

from typing import Annotated

import typer

from darklib.cli import ranges
from darklib.cli.command import DryRun, Ids, application, common_of, ids_of, library, tell
from darklib.facts.errors import DarklibError, Exit
from darklib.facts.frame import Kind

app = application()


@app.command()
def amend(
    context: typer.Context,
    ids: Ids,
    kind: Annotated[str | None, typer.Option(metavar="KIND", help="light, dark, bias or flat")] = None,
    train: Annotated[str | None, typer.Option(metavar="LABEL", help="the optical train")] = None,
    body: Annotated[str | None, typer.Option(metavar="ID", help="the camera, by id, label or serial number")] = None,
    temperature: Annotated[str | None, typer.Option(metavar="C", help="the sensor's temperature, degrees C")] = None,
    target: Annotated[str | None, typer.Option(metavar="T", help="the target")] = None,
    filter: Annotated[str | None, typer.Option(metavar="NAME", help="the filter")] = None,
    exposure: Annotated[str | None, typer.Option(metavar="S", help="the exposure, seconds")] = None,
    time: Annotated[
        str | None, typer.Option(metavar="TIME", help="start of the exposure, as 2026-10-03T21:30:00")
    ] = None,
    clock: Annotated[
        str | None, typer.Option(metavar="SHIFT", help="to add to the time in the file, as +1h02m or -90s")
    ] = None,
    note: Annotated[str, typer.Option(metavar="T", help="why, in your own words")] = "",
    undo: Annotated[bool, typer.Option("--undo", help="take back the newest correction of these frames")] = False,
    dry_run: DryRun = False,
) -> int:
    """Corrects what was recorded of frames. The old value is kept, and --undo brings it back.

    An empty value ('') takes a field back to what the file says. The stored file is neither changed nor moved.
    """
    common = common_of(context)
    changes: dict[str, str | float | None] = {
        "kind": _kind(kind),
        "train": train,
        "body": body,
        "temperature_c": ranges.temperature(temperature or None),
        "target": target,
        "filter": filter,
        "exposure_s": ranges.exposure(exposure or None),
        "taken_at": ranges.moment(time),
        "clock_shift_s": ranges.clock_shift(clock or None),
    }
    given = (kind, train, body, temperature, target, filter, exposure, time, clock)
    wanted = {field: value or None if isinstance(value, str) else value for field, value in changes.items()}
    wanted = {field: wanted[field] for field, text in zip(changes, given, strict=True) if text is not None}
    if undo == bool(wanted):
        raise DarklibError(
            "usage",
            "--undo takes a correction back; give either it or what to correct."
            if undo
            else "Nothing to correct was given.",
            remedy="See `darklib amend --help`.",
            status=Exit.USAGE,
        )
    frames = ids_of(ids)
    from darklib.jobs.correct import amend as job
    from darklib.jobs.correct import undo as undo_job
    from darklib.show import change_screens, documents

    with library(common) as opened:
        if undo:
            result = undo_job(opened, frames, dry_run=dry_run)
        else:
            result = job(opened, frames, wanted, note=note, dry_run=dry_run)
    return tell(
        common,
        lambda: documents.changed("amend", result),
        lambda out: change_screens.changed(
            out,
            result,
            done="Amended",
            wanted="Would amend",
            following=("darklib match", "shows what fits now; `darklib amend --undo ID...` takes this back"),
        ),
    )


def _kind(text: str | None) -> str | None:
    if not text:
        return text
    try:
        return Kind(text.strip().casefold()).value
    except ValueError:
        raise DarklibError(
            "usage", f"{text!r} is no kind of frame.", remedy="Use light, dark, bias or flat.", status=Exit.USAGE
        ) from None
