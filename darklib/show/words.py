"""Things named in a few words: cameras, settings, trains, verdicts, uses, roles."""

from darklib.facts.frame import BodyRef, Frame, Readout
from darklib.facts.match import Temperatures, Use, Verdict
from darklib.facts.train import TrainRef
from darklib.show.out import Span
from darklib.show.text import number, some, spread, temperature

STYLES: dict[Verdict, str] = {
    Verdict.GOOD: "green",
    Verdict.USABLE: "yellow",
    Verdict.POOR: "magenta",
    Verdict.MISSING: "red",
    Verdict.NOT_NEEDED: "dim",
}

USES: dict[Use, str] = {
    Use.SUBTRACT: "subtract from the lights",
    Use.SCALE: "scale, then subtract from the lights",
    Use.WITH_FLATS: "subtract from the flats",
}

ROLES: dict[str, str] = {"dark": "darks", "flat": "flats", "bias": "biases", "dark_flat": "dark flats"}


def verdict(value: Verdict, width: int = 0) -> Span:
    """A verdict with its style; the word alone says it all."""
    return value.value.replace("_", " ").ljust(width), STYLES[value]


def camera(ref: BodyRef | None) -> str:
    """The camera's label."""
    return ref.label if ref is not None else "unknown camera"


def camera_and_setting(ref: BodyRef | None, readout: Readout) -> str:
    """What heads a table of one camera in one setting."""
    told = setting(readout)
    return f"{camera(ref)}, {told}" if told else camera(ref)


def optics(ref: TrainRef | None) -> str:
    """The train's label."""
    return ref.label if ref is not None else "unknown train"


def setting(value: Readout) -> str:
    """`ISO 800`, or `gain 100, offset 50, 2x2 binned, slow readout`; what is not known is left out."""
    parts = []
    if value.iso is not None:
        parts.append(f"ISO {value.iso}")
    if value.gain is not None:
        parts.append(f"gain {number(value.gain)}")
    if value.offset is not None:
        parts.append(f"offset {number(value.offset)}")
    if value.binning != (1, 1):
        parts.append(f"binned {value.binning[0]}x{value.binning[1]}")
    if value.readout_mode:
        parts.append(f"mode {value.readout_mode}")
    return ", ".join(parts) or "settings unknown"


def picture(value: Readout) -> str:
    """`6248x4176`; empty where unknown."""
    return f"{value.width}x{value.height}" if value.width is not None and value.height is not None else ""


STEADY_C = 0.5


def warmth(value: Temperatures) -> str:
    """`-10.0 C`, `12.4 to 15.6 C`, and how many frames have no temperature; `?` where none has.

    A spread of half a degree or less is a cooler's ordinary wobble; the median says more than both its ends.
    """
    steady = value.min_c is not None and value.max_c is not None and value.max_c - value.min_c <= STEADY_C
    text = spread(value.median_c, value.median_c) if steady else spread(value.min_c, value.max_c)
    if value.min_c is None:
        return text
    return f"{text} ({some(value.unknown, 'frame')} unknown)" if value.unknown else text


def kind(frame: Frame) -> str:
    """A frame's kind, and how sure it is where it was worked out from the pixels."""
    if frame.kind is None:
        return "undecided"
    if frame.kind_from is not None and frame.kind_from.value == "pixels":
        return f"{frame.kind.value} ({frame.kind_confidence:.0%} sure)"
    return frame.kind.value


def frame_temperature(frame: Frame) -> str:
    """A frame's temperature."""
    return temperature(frame.temperature_c)
