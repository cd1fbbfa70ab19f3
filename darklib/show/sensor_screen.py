"""What was measured of the cameras, for people: a table of readouts, then each readout in figures with errors."""

from collections.abc import Sequence
from math import floor, log10

from darklib.facts.sensor import DarkLaw, SensorModel, Value
from darklib.jobs.sensor import SensorResult
from darklib.sensor.readouts import Row, Side, sides_of
from darklib.show import text, words
from darklib.show.out import Out
from darklib.show.table import Column, table

NIGHTS_SHOWN = 12


def sensor(out: Out, result: SensorResult, *, chart: bool = False, written: str | None = None) -> None:
    """The screen of `sensor`. chart: pictures drawn with letters, for a terminal. written: the picture's file."""
    if not result.sensors:
        out.paragraph("There are no biases, flats or darks of a known camera in this library.")
        out.next("darklib ingest PATH", "takes in a card or a folder")
        return
    for place, side in enumerate(sides_of(result.sensors)):
        if place:
            out.line()
        _side(out, side)
        for model in (one for one in result.sensors if one.body.id == side.body.id):
            out.line()
            _model(out, model, chart)
    if result.cautions:
        out.line()
        out.heading("While shooting what is advised")
        for caution in result.cautions:
            out.paragraph(f"- {caution}", indent=2, hang=4)
    if written is not None:
        out.line()
        out.about(written, "the picture", indent=0)
    out.next(*_after(result, written))


def value(figure: Value | None, unit: str = "") -> str:
    """`1.701 +/- 0.002 e-`: as many digits as the error bears out; `?` where not known."""
    if figure is None:
        return "?"
    tail = f" {unit}" if unit else ""
    if figure.error is None or figure.error <= 0.0:
        return f"{figure.value:.4g}{tail}"
    if figure.value == 0.0:
        return f"less than {2.0 * figure.error:.2g}{tail}"
    digits = max(0, min(8, 1 - floor(log10(figure.error))))
    whole = round(figure.value, 1 - floor(log10(figure.error))) if digits == 0 else figure.value
    return f"{whole:.{digits}f} +/- {figure.error:.{digits}f}{tail}"


def _side(out: Out, side: Side) -> None:
    out.heading(words.camera(side.body))
    columns = (
        Column("setting", rigid=True),
        Column("e-/DN", right=True),
        Column("read noise", right=True),
        Column("full well", right=True),
        Column("range", right=True),
    )
    table(out, columns, (_row(row) for row in side.rows), indent=2)
    out.paragraph(side.sentence, indent=2)


def _row(row: Row) -> tuple[str, str, str, str, str]:
    return (
        words.setting(row.readout),
        "?" if row.gain_e_per_dn is None else f"{row.gain_e_per_dn:.3g}",
        "?" if row.read_noise_e is None else f"{row.read_noise_e:.2f} e-",
        "?" if row.full_well_e is None else f"{row.full_well_e:,.0f} e-",
        "?" if row.range_stops is None else f"{row.range_stops:.1f} stops",
    )


def _model(out: Out, model: SensorModel, chart: bool) -> None:
    out.heading(f"{words.camera(model.body)}, {words.setting(model.readout)}")
    used = model.frames_used
    counted = ", ".join(
        text.some(used.get(kind, 0), one, many)
        for kind, one, many in (("bias", "bias", "biases"), ("flat", "flat", "flats"), ("dark", "dark", "darks"))
    )
    out.entry("Measured from", counted, column=16)
    out.entry("Bias level", value(model.bias_dn, "DN"), column=16)
    noise = value(model.read_noise_e, "e-")
    if model.read_noise_dn is not None:
        noise += f"  ({value(model.read_noise_dn, 'DN')})"
    out.entry("Read noise", noise, column=16)
    gain = value(model.gain_e_per_dn, "e- per DN")
    if model.gain_assumed:
        gain += "  (taken from another ISO, in proportion)"
    out.entry("Gain", gain, column=16)
    if len(model.gain_by_colour) > 1:
        each = "; ".join(f"{colour} {value(one)}" for colour, one in sorted(model.gain_by_colour.items()))
        out.entry("", each, column=16)
    out.entry(
        "Full well", value(model.full_well_e, "e-") + ("" if model.full_well_e else "  (no flat reaches it)"), column=16
    )
    if model.linear_e is not None:
        out.entry("Straight up to", value(model.linear_e, "e-"), column=16)
    if model.hot_pixels_per_megapixel is not None:
        hot = value(model.hot_pixels_per_megapixel, "per megapixel")
        if model.dark_rates is not None:
            rates = model.dark_rates
            hot += f", above {rates.hot_from_e_s:.2g} e-/s at {text.temperature(rates.temperature_c)}"
        out.entry("Hot pixels", hot, column=16)
    if model.unstable_pixels_per_megapixel is not None:
        out.entry("Unstable", value(model.unstable_pixels_per_megapixel, "per megapixel"), column=16)
    if model.dark_current:
        _darks(out, model)
    for trouble in model.trouble_details:
        figures = ", ".join(f"{name} {number:g}" for name, number in trouble.figures.items())
        out.entry("Trouble", (trouble.text, "yellow"), f"  ({figures})" if figures and out.verbose else "", column=16)
    if chart:
        _charts(out, model)
    elif len({one.night for one in model.history}) > 1:
        _history(out, model)
    _left_out(out, model)
    for said in model.advice:
        out.entry("To know more", said, column=16)


def _darks(out: Out, model: SensorModel) -> None:
    out.line("  Dark current, electrons a second")
    columns = (
        Column("temp.", right=True),
        Column("median pixel", right=True),
        Column("spread", right=True, keep=2),
        Column("1 in 1000 above", right=True, keep=1),
        Column("frames", right=True, keep=3),
        Column("off the law", right=True),
    )
    residuals = iter(model.law.residuals if model.law is not None else ())
    rows = []
    for one in model.dark_current:
        off = ""
        if model.law is not None and one.median_e_s.value > 0.0:
            off = f"{100.0 * next(residuals, 0.0):+.1f}%".replace("-0.0%", "+0.0%")
        rows.append(
            (
                text.temperature(one.temperature_c),
                value(one.median_e_s),
                value(one.spread_e_s),
                "" if one.tail_e_s is None else f"{one.tail_e_s.value:.3g}",
                str(one.frames),
                off,
            )
        )
    table(out, columns, rows, indent=4)
    out.paragraph(law_text(model.law), indent=4)
    if model.hot_doubling_c is not None:
        out.paragraph(f"Hot pixels double every {value(model.hot_doubling_c, 'degrees')}.", indent=4)


def law_text(law: DarkLaw | None) -> str:
    """A law in a sentence."""
    if law is None:
        return "Until darks span 5 degrees or more it is assumed to double every 6 +/- 1 degrees."
    span = f"between {law.low_c:.1f} and {law.high_c:.1f} C"
    off = f"the darks lie within {100.0 * max(abs(one) for one in law.residuals):.1f}% of the law"
    if law.shape == "doubling":
        # Two points lie on any line.
        return f"It doubles every {value(law.doubling_c, 'degrees')} {span}" + (
            f"; {off}." if len(law.residuals) > 2 else "; two temperatures do not test the law."
        )
    ends = f"{law.doubling_low_c:.1f} degrees at the cold end and {law.doubling_high_c:.1f} at the warm one"
    if law.doubling_c is None:
        return f"Over more than 40 degrees no single doubling holds: {ends}, by Arrhenius' law {span}; {off}."
    return f"It doubles every {value(law.doubling_c, 'degrees')} at {law.reference_c:.1f} C ({ends}), {span}; {off}."


def _history(out: Out, model: SensorModel) -> None:
    for what, label, unit in (
        ("bias_dn", "Bias by night", "DN"),
        ("read_noise_dn", "Noise by night", "DN"),
        ("hot_pixels_per_megapixel", "Hot by night", "per megapixel"),
    ):
        dated = [one for one in model.history if one.what == what]
        if len({one.night for one in dated}) > 1:
            told = "; ".join(f"{one.night} {value(one.value)}" for one in dated[-NIGHTS_SHOWN:])
            out.entry(label, f"{told} {unit}", column=18)


def _left_out(out: Out, model: SensorModel) -> None:
    why: dict[str, list[str]] = {}
    for one in model.left_out:
        why.setdefault(one.why, []).append(one.id)
    for reason, ids in why.items():
        shown: Sequence[str] = ids if out.verbose else ids[:3]
        more = f" and {len(ids) - len(shown)} more" if len(ids) > len(shown) else ""
        out.entry("Left out", f"{text.some(len(ids), 'frame')}: {reason} ({', '.join(shown)}{more})", column=16)


def _charts(out: Out, model: SensorModel) -> None:
    from darklib.show.sensor_chart import charts

    for drawn in charts(model, out.width or 80):
        out.line()
        out.paragraph(drawn[0], style="bold")
        for line in drawn[1:]:
            out.line(line)


def _after(result: SensorResult, written: str | None) -> tuple[str, str]:
    if written is None and any(one.law is not None for one in result.sensors):
        return "darklib sensor --picture dark.png", "draws dark current against temperature"
    return "darklib gaps --plan", "tells what to shoot, and in which order"
