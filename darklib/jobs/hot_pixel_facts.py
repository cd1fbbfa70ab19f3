"""What a frame's hot pixels say of it, for people: its dark ratio, what it rests on, and the temperature from it."""

from darklib.catalogue.inferences import DOUBT, RATIO, SCALE
from darklib.facts.frame import Fact, Frame, TemperatureFrom
from darklib.jobs.library import Opened


def hot_pixel_facts(opened: Opened, frame: Frame) -> tuple[Fact, ...]:
    """Facts of one stored frame, inferred from its hot pixels; none where there are none."""
    kept = [one for one in opened.catalogue.inferences(RATIO, [frame.sha256]) if one.value is not None]
    if not kept or frame.dark_ratio is None:
        return ()
    value = kept[0].value
    away = value["doublings"]
    where = f"hot pixels against the darks {frame.dark_ratio.against}"
    warmth = f"{abs(away):.2f} doublings {'warmer' if away >= 0 else 'colder'} than those darks, exposure allowed for"
    facts = [
        Fact("dark_ratio", frame.dark_ratio.value, "", "inferred", where, "", warmth),
        Fact("hot_pixels_used", value["pixels"], "", "inferred", where, "", f"{value['found']:.0%} of them seen"),
    ]
    if frame.temperature_from is TemperatureFrom.PIXELS:
        facts.append(Fact("temperature_c", frame.temperature_c, "degC", "inferred", where, "", _law(opened, frame)))
    for one in opened.catalogue.inferences(DOUBT, [frame.sha256]):
        if one.value is not None:
            note = f"the recorded {one.value['told_c']:.1f} C disagrees by more than the camera's own scale explains"
            facts.append(Fact("temperature_c", one.value["inferred_c"], "degC", "inferred", where, "", note))
    return tuple(facts)


def _law(opened: Opened, frame: Frame) -> str:
    """How the body's hot pixels double, and whether that was measured."""
    subject = f"{frame.body.id if frame.body else ''}\n{frame.readout.key}\n"
    for one in opened.catalogue.findings(SCALE):
        if one.subject.startswith(subject) and one.result["doubling_c"] is not None:
            told = f"hot pixels double in {one.result['doubling_c']:.1f} +- {one.result['doubling_error_c']:.1f} C"
            how = "assumed: darks at a second temperature would tell" if one.result["assumed"] else "measured"
            return f"{told}, {how}"
    return ""
