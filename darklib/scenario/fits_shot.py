"""A shot of the cooled camera as the FITS file a capture program would have written."""

from datetime import UTC

from darklib.facts.frame import Kind
from darklib.scenario.cast import SITE_HEIGHT_M, SITE_LATITUDE, SITE_LONGITUDE
from darklib.scenario.fits_file import Line, fits_bytes
from darklib.scenario.shot import Shot

IMAGE_TYPES = {Kind.LIGHT: "Light Frame", Kind.DARK: "Dark Frame", Kind.BIAS: "Bias Frame", Kind.FLAT: "Flat Field"}
"""The spellings of SBFITSEXT 1.0, a published set of header keywords."""


def fits_shot(shot: Shot, *, name_kind: bool = True) -> bytes:
    """The whole file; name_kind False leaves the kind out of the header."""
    return fits_bytes(shot.expose(), header_lines(shot, name_kind=name_kind))


def header_lines(shot: Shot, *, name_kind: bool = True) -> tuple[Line, ...]:
    """Keyword, value and comment of every card, in order."""
    camera, readout = shot.camera, shot.camera.readout(shot.setting)
    lines: list[Line] = []
    if name_kind:
        lines.append(("IMAGETYP", IMAGE_TYPES[shot.kind], "type of image"))
    start = shot.taken_at.astimezone(UTC)
    lines += [
        ("EXPTIME", float(shot.exposure_s), "[s] exposure"),
        ("DATE-OBS", f"{start:%Y-%m-%dT%H:%M:%S}.{start.microsecond // 1000:03d}", "start of exposure, UTC"),
        ("INSTRUME", camera.model, "camera"),
        ("GAIN", readout.setting, "gain setting"),
        ("EGAIN", readout.gain_e_per_dn, "[e-/ADU] electrons per number"),
    ]
    if readout.offset_setting is not None:
        lines.append(("OFFSET", readout.offset_setting, "offset setting"))
    if shot.set_temperature_c is not None:
        lines.append(("SET-TEMP", float(shot.set_temperature_c), "[degC] set-point of the cooler"))
    lines += [
        ("CCD-TEMP", round(shot.temperature_c, 1), "[degC] sensor temperature"),
        ("XBINNING", 1, ""),
        ("YBINNING", 1, ""),
        ("XPIXSZ", camera.pixel_um, "[um] pixel size after binning"),
        ("YPIXSZ", camera.pixel_um, "[um] pixel size after binning"),
        ("ROWORDER", "TOP-DOWN", ""),
    ]
    if camera.cfa:
        lines.append(("BAYERPAT", camera.cfa, "colour of the first four pixels"))
    if shot.train is not None:
        telescope = shot.train.telescope
        lines += [
            ("TELESCOP", telescope.name, "telescope"),
            ("FOCALLEN", telescope.focal_length_mm, "[mm] focal length"),
            ("APTDIA", telescope.aperture_mm, "[mm] aperture"),
            ("ROTATANG", float(shot.train.angle_deg), "[deg] mechanical angle of the rotator"),
        ]
    if shot.filter is not None:
        lines.append(("FILTER", shot.filter, "filter"))
    if shot.focuser_position is not None:
        lines.append(("FOCUSPOS", shot.focuser_position, "[step] focuser"))
    if shot.target is not None:
        turned = (shot.pointing.turned_deg - (shot.train.angle_deg if shot.train else 0.0)) % 360.0
        lines += [("OBJECT", shot.target, "target"), ("OBJCTROT", turned, "[deg] position angle on the sky")]
    if shot.pier_side is not None:
        lines.append(("PIERSIDE", shot.pier_side, "side of the pier"))
    lines += [
        ("SITELAT", SITE_LATITUDE, "[deg]"),
        ("SITELONG", SITE_LONGITUDE, "[deg]"),
        ("SITEELEV", SITE_HEIGHT_M, "[m]"),
    ]
    return tuple(lines)
