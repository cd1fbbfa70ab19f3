"""The document of `exposure`."""

from darklib.jobs.exposure import BatchExposure, ExposureResult
from darklib.show import objects
from darklib.show.objects import Json


def exposure(result: ExposureResult) -> Json:
    """`exposure`."""
    return {"schema": "darklib/exposure/1", "batches": [_batch(one) for one in result.batches]}


def _batch(one: BatchExposure) -> Json:
    exposed = one.exposed
    told = exposed.signal_to_noise
    return {
        "batch": one.batch.id,
        "night": one.batch.night,
        "target": one.batch.target,
        "body": objects.body(one.batch.body),
        "readout": objects.readout(one.batch.readout),
        "filter": one.batch.filter,
        "exposure_s": one.batch.exposure_s,
        "count": one.batch.count,
        "measured": one.measured,
        "gain_from": one.gain_from,
        "zero_from": one.zero_from,
        "sky_e_s": {
            colour: {"value": figure.value, "error": figure.error} for colour, figure in exposed.sky_e_s.items()
        },
        "read_share_percent": exposed.read_share_percent,
        "saturated_fraction": exposed.saturated_fraction,
        "histogram_gap": exposed.histogram_gap,
        "sub_exposure_s": {"least": exposed.sub_exposure_s, "with_dark": exposed.sub_exposure_with_dark_s},
        "signal_to_noise": None
        if told is None
        else {
            "signal_e_s": told.signal_e_s,
            "of_one": told.of_one,
            "of_all": told.of_all,
            "wished": told.wished,
            "lights_wished": told.lights_wished,
            "lights_to_go": told.lights_to_go,
        },
        "advice": [objects.coded(reason.code, reason.text, reason.figures) for reason in exposed.advice],
    }
