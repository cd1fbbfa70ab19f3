"""The document of `sensor`."""

from darklib.facts.sensor import SensorModel, Value
from darklib.jobs.sensor import SensorResult
from darklib.sensor.readouts import Side, sides_of
from darklib.show import objects
from darklib.show.objects import Json


def sensor(result: SensorResult, picture: str | None = None) -> Json:
    """`sensor`. picture: absolute path of the picture written, if any."""
    return {
        "schema": "darklib/sensor/1",
        "sensors": [_sensor(one) for one in result.sensors],
        "readouts": [_side(one) for one in sides_of(result.sensors)],
        "measured": result.measured,
        "cautions": list(result.cautions),
        "picture": picture,
    }


def _value(figure: Value | None) -> Json | None:
    return None if figure is None else {"value": figure.value, "error": figure.error}


def _sensor(one: SensorModel) -> Json:
    law = one.law
    return {
        "body": objects.body(one.body),
        "readout": objects.readout(one.readout),
        "bias_dn": _value(one.bias_dn),
        "read_noise_e": _value(one.read_noise_e),
        "read_noise_dn": _value(one.read_noise_dn),
        "gain_e_per_dn": _value(one.gain_e_per_dn),
        "gain_assumed": one.gain_assumed,
        "by_colour": [
            {
                "colour": colour,
                "gain_e_per_dn": _value(one.gain_by_colour.get(colour)),
                "bias_dn": _value(one.black_by_colour.get(colour)),
            }
            for colour in dict.fromkeys((*one.black_by_colour, *one.gain_by_colour))
        ],
        "full_well_e": _value(one.full_well_e),
        "linear_e": _value(one.linear_e),
        "dark_current": [
            {
                "temperature_c": dark.temperature_c,
                "median_e_s": _value(dark.median_e_s),
                "spread_e_s": _value(dark.spread_e_s),
                "tail_e_s": _value(dark.tail_e_s),
                "frames": dark.frames,
            }
            for dark in one.dark_current
        ],
        "law": None
        if law is None
        else {
            "form": law.shape,
            "reference_c": law.reference_c,
            "rate_e_s": law.rate_e_s,
            "energy_ev": _value(law.energy_ev),
            "low_c": law.low_c,
            "high_c": law.high_c,
            "doubling_low_c": law.doubling_low_c,
            "doubling_high_c": law.doubling_high_c,
            "residuals": list(law.residuals),
            "scatter": law.scatter,
        },
        "doubling_c": _value(one.doubling_c),
        "hot_doubling_c": _value(one.hot_doubling_c),
        "hot_pixels_per_megapixel": _value(one.hot_pixels_per_megapixel),
        "hot_from_e_s": one.dark_rates.hot_from_e_s if one.dark_rates is not None else None,
        "hot_at_c": one.dark_rates.temperature_c if one.dark_rates is not None else None,
        "unstable_pixels_per_megapixel": _value(one.unstable_pixels_per_megapixel),
        "level_held": one.level_held,
        "troubles": list(one.troubles),
        "trouble_details": [objects.coded(item.code, item.text, item.figures) for item in one.trouble_details],
        "history": [{"night": item.night, "what": item.what, **(_value(item.value) or {})} for item in one.history],
        "frames_used": {kind: one.frames_used.get(kind, 0) for kind in ("bias", "flat", "dark")},
        "frames": list(one.used_ids),
        "left_out": [{"id": item.id, "code": item.code, "why": item.why} for item in one.left_out],
        "advice": list(one.advice),
    }


def _side(one: Side) -> Json:
    return {
        "body": objects.body(one.body),
        "rows": [
            {
                "readout": objects.readout(row.readout),
                "gain_e_per_dn": row.gain_e_per_dn,
                "read_noise_e": row.read_noise_e,
                "full_well_e": row.full_well_e,
                "range_stops": row.range_stops,
                "unity": row.unity,
            }
            for row in one.rows
        ],
        "unity_setting": one.unity_setting,
        "steady_from": one.steady_from,
        "sentence": one.sentence,
    }
