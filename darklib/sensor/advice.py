"""What to shoot to know more of a camera, in sentences."""

from dataclasses import replace

from darklib.facts.sensor import SensorModel
from darklib.sensor.dark_law import LEAST_SPAN_C, MOST_SPAN_C


def with_advice(model: SensorModel, *, exposures_s: tuple[float, ...], unknown: int = 0) -> SensorModel:
    """The model with its advice. exposures_s: of the darks it was measured from; unknown: how many of them have no
    temperature of their own.
    """
    return replace(model, advice=tuple(_advice(model, exposures_s, unknown)))


def wants_flats(model: SensorModel) -> bool:
    """Whether flats are among the advice."""
    return model.gain_e_per_dn is None or model.gain_assumed or model.full_well_e is None


def wants_darks(model: SensorModel) -> bool:
    """Whether darks are, for which somebody may well put the camera where it is cold."""
    if model.frames_used.get("dark", 0) < 2:
        return True
    return model.gain_e_per_dn is not None and model.law is None and "black_clipped" not in model.troubles


def _advice(model: SensorModel, exposures_s: tuple[float, ...], unknown: int) -> list[str]:
    said = []
    used = model.frames_used
    if used.get("bias", 0) < 2:
        said.append(
            "Shoot 20 biases in this readout, capped, at the shortest exposure: level and read noise need them."
        )
    if model.gain_e_per_dn is None:
        said.append(
            "Shoot pairs of flats in this readout, from faint to nearly full: without them the gain is not known, and "
            "nothing can be told in electrons."
        )
    elif model.gain_assumed:
        said.append("The gain is that of another ISO, in proportion; pairs of flats in this readout would measure it.")
    elif model.full_well_e is None:
        said.append(
            "Shoot a few flats that are nearly full and some that are: none is bright enough to show the full well."
        )
    darks = used.get("dark", 0)
    if darks < 2:
        said.append("Shoot ten or more darks of several minutes: there are none to tell the dark current by.")
    elif model.gain_e_per_dn is not None and "black_clipped" not in model.troubles:
        temperatures = [one.temperature_c for one in model.dark_current]
        span = max(temperatures) - min(temperatures) if temperatures else 0.0
        if unknown:
            said.append(
                f"State the temperature of the {unknown} darks that have none recorded "
                "(`darklib amend ID --temperature C`): they tell no dark current before."
            )
        if temperatures and model.law is None and span < LEAST_SPAN_C:
            said.append(
                f"Shoot darks {LEAST_SPAN_C:g} degrees or more from those at {temperatures[0]:.1f} C: until then a "
                "doubling in 6 degrees is assumed."
            )
        elif temperatures and model.law is None and span > MOST_SPAN_C:
            said.append("Shoot darks at temperatures in between: over more than 40 degrees two points tell no law.")
        elif temperatures and model.law is None:
            said.append("Shoot longer darks: the dark current is too small in most of them to show how it grows.")
        elif temperatures and model.doubling_c is None:
            said.append("The darks span more than 40 degrees, over which no single doubling holds; see its ends.")
    if darks >= 2 and len(exposures_s) < 2:
        said.append(
            f"Shoot some darks a third as long or three times as long as {exposures_s[0]:g} s: glow that does not "
            "follow the exposure, and hot pixels filtered by the camera, show only between two exposures."
        )
    return said
