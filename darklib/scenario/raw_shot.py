"""A shot of an uncooled body as the raw file it would have written to its card."""

from datetime import timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

from darklib.scenario.cast import SITE_ZONE
from darklib.scenario.dng import RawFacts, dng_bytes
from darklib.scenario.shot import Shot


def raw_shot(shot: Shot, *, ambient_c: float | None = None, clock_fast_s: int = 0) -> bytes:
    """The whole file. The camera's clock shows the site's time, fast by clock_fast_s; its zone is not written."""
    camera = shot.camera
    if camera.cfa is None:
        raise ValueError("a raw file needs a colour mosaic")
    local = shot.taken_at.astimezone(ZoneInfo(SITE_ZONE)) + timedelta(seconds=clock_fast_s)
    facts = RawFacts(
        make=camera.make,
        model=camera.model,
        serial=camera.serial,
        iso=shot.setting,
        exposure=Fraction(shot.exposure_s).limit_denominator(8000),
        local_time=f"{local:%Y:%m:%d %H:%M:%S}",
        cfa=camera.cfa,
        black_dn=round(camera.readout(shot.setting).offset_dn),
        white_dn=camera.white_dn,
        ambient_c=ambient_c,
    )
    return dng_bytes(shot.expose(), facts)
