"""How well lights were exposed, for people: a block a batch, figures first, then what follows from them."""

from darklib.facts.sensor import Value
from darklib.jobs.exposure import BatchExposure, ExposureResult
from darklib.show import text, words
from darklib.show.out import Out

COLUMN = 12


def exposure(out: Out, result: ExposureResult) -> None:
    """The screen of `exposure`."""
    for one in result.batches:
        _block(out, one)
        out.line()
    if not result.batches:
        out.line("There are no lights to judge.")
        out.next("darklib batches", "lists the lights there are")
        return
    if any(not one.measured for one in result.batches):
        out.next("darklib sensor", "measures gain and noise of the cameras from their own frames")
    else:
        out.next("darklib gaps --tonight", "tells which exposures the library already serves")


def _block(out: Out, one: BatchExposure) -> None:
    batch, exposed = one.batch, one.exposed
    out.heading(f"{batch.id}  {batch.target or 'no target'}")
    parts = [f"{batch.count} x {text.exposure(batch.exposure_s)}"]
    if batch.filter:
        parts.append(f"filter {batch.filter}")
    parts += [words.setting(batch.readout), words.camera(batch.body)]
    out.entry("Lights", ", ".join(parts), column=COLUMN)
    if exposed.sky_e_s:
        sky = ", ".join(
            f"{colour} {_figure(figure)}" if colour else _figure(figure) for colour, figure in exposed.sky_e_s.items()
        )
        source = "above the matched darks" if one.zero_from == "darks" else "above the bias, less dark current"
        gain = ", by the gain the file states" if one.gain_from == "file" else ""
        out.entry("Sky", f"{sky} electrons a second and pixel, {source}{gain}", column=COLUMN)
    told = exposed.signal_to_noise
    if told is not None:
        what = f"{told.of_one:.2g} a pixel in one light, {told.of_all:.2g} in all {batch.count}"
        out.entry("Signal", f"to noise {what}, for {told.signal_e_s:.2g} electrons a second", column=COLUMN)
    for place, reason in enumerate(exposed.advice):
        out.entry("Advice" if place == 0 else "", text.sentence(reason.text), column=COLUMN)


def _figure(figure: Value) -> str:
    """`2.31 +/- 0.02`, or an upper bound."""
    error = figure.error or 0.0
    if figure.value == 0.0:
        return f"below {2.0 * error:.2g}"
    return f"{figure.value:.3g} +/- {error:.1g}" if error > 0.0 else f"{figure.value:.3g}"
