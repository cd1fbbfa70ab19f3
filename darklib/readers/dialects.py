"""The one table of FITS keyword spellings: keyword, field, rule, source. A new habit is a row and a line in its test.

Where several cards tell one field, the row further up wins; others are kept as facts, and flagged where they differ.
"""

from dataclasses import dataclass
from functools import partial

from darklib.readers import dialect_rules as rule
from darklib.readers import fits_time as time_rule
from darklib.readers.dialect_rules import Rule

STD = "FITS Standard 4.0"
SBF = "SBFITSEXT 1.0, a published set of header keywords"
HEA = "HEASARC dictionary of commonly used keywords"
NOAO = "NOAO/IRAF CCD header conventions"
HST = "STScI keyword dictionary"
ESO = "ESO data interface control document (HIERARCH keywords)"
SEEN = "seen in files; no single source"


@dataclass(frozen=True, slots=True)
class Row:
    """One spelling: keyword in capitals, the field it tells, the rule that understands its value, its source."""

    keyword: str
    field: str
    rule: Rule
    source: str


_ms: Rule = partial(rule.exposure, assumed="ms")
_us: Rule = partial(rule.exposure, assumed="us")
_mm, _um = rule.millimetres, rule.micrometres
_number = rule.any_number
_dn: Rule = partial(rule.any_number, unit="DN")
_e: Rule = partial(rule.any_number, unit="e")

ROWS: tuple[Row, ...] = (
    # Kind
    Row("IMAGETYP", "kind", rule.kind, SBF),
    Row("IMAGETYPE", "kind", rule.kind, SEEN),  # nine letters: only behind HIERARCH
    Row("FRAMETYP", "kind", rule.kind, SEEN),
    Row("FRAMETYPE", "kind", rule.kind, SEEN),
    Row("FRAME", "kind", rule.kind_if_any, SEEN),  # elsewhere the frame of a coordinate system
    Row("OBSTYPE", "kind", rule.kind, NOAO),
    Row("OBS_TYPE", "kind", rule.kind, SEEN),
    Row("EXPTYPE", "kind", rule.kind, SEEN),
    Row("ESO DPR TYPE", "kind", rule.kind, ESO),
    # Exposure. EXPTIME and EXPOSURE are synonyms in seconds; XPOSURE is the standard's own (section 9.7).
    Row("EXPTIME", "exposure_s", rule.exposure, HEA),
    Row("EXPOSURE", "exposure_s", rule.exposure, HEA),
    Row("XPOSURE", "exposure_s", rule.exposure, STD),
    Row("EXP_TIME", "exposure_s", rule.exposure, SEEN),
    Row("EXPOINUS", "exposure_s", _us, SEEN),  # in microseconds, as the name says
    Row("EXP_MS", "exposure_s", _ms, SEEN),
    Row("ITIME", "exposure_s", rule.exposure, SEEN),  # integration time in the infrared
    Row("ESO DET WIN1 DIT1", "exposure_s", rule.exposure, ESO),
    Row("TEXPTIME", "total_exposure_s", rule.exposure, HST),  # of all exposures of the file together
    Row("DARKTIME", "dark_time_s", rule.exposure, HEA),  # collects dark charge; at least the exposure
    Row("TELAPSE", "elapsed_s", rule.exposure, STD),
    Row("LIVETIME", "live_time_s", rule.exposure, HEA),
    Row("ONTIME", "on_time_s", rule.exposure, HEA),
    # Gain
    Row("GAIN", "gain", rule.gain, SEEN),
    Row("EGAIN", "e_per_dn", rule.electrons_per_dn, SBF),
    Row("CCDGAIN", "e_per_dn", rule.electrons_per_dn, HST),
    Row("GAIN_E", "e_per_dn", rule.electrons_per_dn, SEEN),
    Row("ESO DET OUT1 CONAD", "e_per_dn", rule.electrons_per_dn, ESO),
    Row("ISOSPEED", "iso", rule.iso, SEEN),
    Row("ISO", "iso", rule.iso, SEEN),
    Row("RDNOISE", "read_noise_e", _e, NOAO),
    Row("READNOIS", "read_noise_e", _e, SEEN),
    # Offset
    Row("OFFSET", "offset", rule.setting, SEEN),
    Row("BLKLEVEL", "offset", rule.setting, SEEN),
    Row("BLACKLVL", "offset", rule.setting, SEEN),
    Row("CCDOFFST", "offset", rule.setting, HST),
    Row("PEDESTAL", "pedestal_dn", _dn, SBF),  # to be added to every pixel: negative for a frame with an offset
    Row("SATURATE", "white_dn", rule.setting, NOAO),
    Row("SATLEVEL", "white_dn", rule.setting, SEEN),
    # Temperatures
    Row("CCD-TEMP", "sensor_temperature_c", rule.temperature, SBF),
    Row("CCDTEMP", "sensor_temperature_c", rule.temperature, NOAO),
    Row("CCD_TEMP", "sensor_temperature_c", rule.temperature, SEEN),
    Row("TEMP_CCD", "sensor_temperature_c", rule.temperature, SEEN),  # solar spacecraft
    Row("DET-TEMP", "sensor_temperature_c", rule.temperature, SEEN),
    Row("DETTEMP", "sensor_temperature_c", rule.temperature, SEEN),
    Row("CHIPTEMP", "sensor_temperature_c", rule.temperature, SEEN),
    Row("SENSTEMP", "sensor_temperature_c", rule.temperature, SEEN),
    Row("TEMPERAT", "sensor_temperature_c", rule.temperature, SEEN),
    Row("ESO DET CHIP1 TEMP", "sensor_temperature_c", rule.temperature, ESO),
    Row("SET-TEMP", "set_temperature_c", rule.temperature, SBF),
    Row("SETTEMP", "set_temperature_c", rule.temperature, SEEN),
    Row("CCD-SET", "set_temperature_c", rule.temperature, SEEN),
    Row("AMB-TEMP", "ambient_temperature_c", rule.temperature, SEEN),
    Row("AMBTEMP", "ambient_temperature_c", rule.temperature, SEEN),
    Row("AMBIENT", "ambient_temperature_c", rule.temperature, SEEN),
    Row("AOCAMBT", "ambient_temperature_c", rule.temperature, SEEN),
    Row("OUTTEMP", "ambient_temperature_c", rule.temperature, SEEN),
    Row("FOCTEMP", "focuser_temperature_c", rule.temperature, SEEN),
    Row("FOCUSTEM", "focuser_temperature_c", rule.temperature, SEEN),
    # Binning
    Row("XBINNING", "binning_x", rule.count, SBF),
    Row("YBINNING", "binning_y", rule.count, SBF),
    Row("XBIN", "binning_x", rule.count, SEEN),
    Row("YBIN", "binning_y", rule.count, SEEN),
    Row("CCDXBIN", "binning_x", rule.count, SEEN),
    Row("CCDYBIN", "binning_y", rule.count, SEEN),
    Row("CCDBIN1", "binning_x", rule.count, SEEN),
    Row("CCDBIN2", "binning_y", rule.count, SEEN),
    Row("HBIN", "binning_x", rule.count, SEEN),
    Row("VBIN", "binning_y", rule.count, SEEN),
    Row("BINX", "binning_x", rule.count, SEEN),
    Row("BINY", "binning_y", rule.count, SEEN),
    Row("BINAXIS1", "binning_x", rule.count, HST),
    Row("BINAXIS2", "binning_y", rule.count, HST),
    Row("SUMCOL", "binning_x", rule.count, SEEN),  # pixels summed on the chip; solar spacecraft
    Row("SUMROW", "binning_y", rule.count, SEEN),
    Row("CCDSUM", "binning", rule.binning_pair, NOAO),
    Row("BINNING", "binning", rule.binning_pair, SEEN),
    # Readout and place on the sensor
    Row("READOUTM", "readout_mode", rule.text, SEEN),
    Row("READOUTMODE", "readout_mode", rule.text, SEEN),
    Row("READMODE", "readout_mode", rule.text, SEEN),
    Row("RDMODE", "readout_mode", rule.text, SEEN),
    Row("ESO DET READ CLOCK", "readout_mode", rule.text, ESO),
    Row("XORGSUBF", "origin_x", rule.pixel, SBF),  # in binned pixels, from 0
    Row("YORGSUBF", "origin_y", rule.pixel, SBF),
    Row("CCDSEC", "sensor_section", rule.section, NOAO),
    Row("BIASSEC", "overscan_section", rule.section, NOAO),
    Row("TRIMSEC", "picture_section", rule.section, NOAO),
    Row("DATASEC", "picture_section", rule.section, NOAO),
    Row("XPIXSZ", "pixel_size_um", _um, SBF),  # after binning
    Row("YPIXSZ", "pixel_height_um", _um, SBF),
    Row("PIXSIZE1", "pixel_size_um", _um, NOAO),
    Row("PIXSIZE", "pixel_size_um", _um, SEEN),
    Row("XPIXELSZ", "pixel_size_um", _um, SEEN),
    # Filter, train, focuser, rotator
    Row("FILTER", "filter", rule.filter_name, HEA),
    Row("FILTERS", "filter", rule.filter_name, SEEN),  # a code of two wheels at one observatory
    Row("FILTNAM", "filter", rule.filter_name, HST),
    Row("FILTERID", "filter", rule.filter_name, SEEN),
    Row("FILTER1", "filter_1", rule.filter_name, SEEN),
    Row("FILTER2", "filter_2", rule.filter_name, SEEN),
    Row("FILTPOS", "filter_place", rule.wheel_place, SEEN),  # the wheel's code, where no name is given
    Row("FILTNUM", "filter_place", rule.wheel_place, SEEN),
    Row("TELESCOP", "telescope", rule.text, STD),
    Row("FOCALLEN", "focal_length_mm", _mm, SBF),
    Row("FOCAL", "focal_length_mm", _mm, SEEN),
    Row("FOCLEN", "focal_length_mm", _mm, SEEN),
    Row("APTDIA", "aperture_mm", _mm, SBF),
    Row("FOCRATIO", "focal_ratio", rule.focal_ratio, SEEN),
    Row("REDUCER", "reducer", rule.text, SEEN),
    Row("APERTURE", "aperture_text", rule.text, SEEN),  # a diameter, a focal ratio or a slit: not told which
    Row("FOCUSPOS", "focuser_position", _number, SEEN),
    Row("FOCPOS", "focuser_position", _number, SEEN),
    Row("FOCUSER", "focuser_name", rule.text, SEEN),
    Row("ROTATANG", "rotator_deg", rule.turning, SEEN),  # of the rotator itself
    Row("ROTATOR", "rotator_deg", rule.turning, SEEN),
    Row("ROTANG", "rotator_deg", rule.turning, SEEN),
    Row("OBJCTROT", "position_angle_deg", rule.turning, SEEN),  # on the sky: another reference than the rotator's
    Row("POSANGLE", "position_angle_deg", rule.turning, SEEN),
    Row("CROTA2", "position_angle_deg", rule.turning, STD),
    # Camera
    Row("INSTRUME", "model", rule.text, STD),
    Row("CAMERA", "model", rule.text, SEEN),
    Row("CAMMAKE", "make", rule.text, SEEN),
    Row("SERIALNO", "serial", rule.text, SEEN),
    Row("CAMSN", "serial", rule.text, SEEN),
    Row("CAMID", "serial", rule.text, SEEN),
    Row("SERNUM", "serial", rule.text, SEEN),
    Row("DETSERNO", "serial", rule.text, SEEN),
    # Site and target
    Row("SITELAT", "latitude_deg", rule.latitude, SEEN),
    Row("LAT-OBS", "latitude_deg", rule.latitude, SEEN),
    Row("OBSGEO-B", "latitude_deg", rule.latitude, STD),
    Row("LATITUDE", "latitude_deg", rule.latitude, SEEN),
    Row("SITELONG", "longitude_deg", rule.longitude, SEEN),
    Row("LONG-OBS", "longitude_deg", rule.longitude, SEEN),
    Row("OBSGEO-L", "longitude_deg", rule.longitude, STD),
    Row("LONGITUD", "longitude_deg", rule.longitude, SEEN),
    Row("OBJECT", "target", rule.target, STD),
    Row("TARGNAME", "target", rule.target, HST),
    Row("TARGET", "target", rule.target, SEEN),
    Row("PIERSIDE", "pier_side", rule.pier_side, SEEN),
    # Time: how these are put together is in `fits_time`
    Row("DATE-OBS", "date_obs", time_rule.moment, STD),
    Row("DATE_OBS", "date_obs", time_rule.moment, SEEN),
    Row("DATE-BEG", "date_beg", time_rule.moment, STD),
    Row("DATE-AVG", "date_avg", time_rule.moment, STD),
    Row("DATE-END", "date_end", time_rule.moment, STD),
    Row("DATE-LOC", "date_local", time_rule.moment, SEEN),
    Row("TIME-OBS", "time_obs", time_rule.clock, HEA),
    Row("TIME_OBS", "time_obs", time_rule.clock, SEEN),
    Row("UTSTART", "time_obs", time_rule.clock, SEEN),
    Row("UT", "time_obs", time_rule.clock, NOAO),
    Row("UTC-OBS", "time_obs", time_rule.clock, SEEN),
    Row("MJD-OBS", "mjd_obs", time_rule.julian, STD),
    Row("MJD-BEG", "mjd_obs", time_rule.julian, STD),
    Row("JD", "jd_obs", time_rule.julian, SEEN),
    Row("MJD-AVG", "mjd_avg", time_rule.julian, STD),
    Row("MJD-END", "mjd_end", time_rule.julian, STD),
    Row("TIMESYS", "time_scale", time_rule.scale, STD),
    # Colour mosaic and rows
    Row("BAYERPAT", "cfa", rule.pattern, SEEN),
    Row("COLORTYP", "cfa", rule.pattern, SEEN),
    Row("CFAPAT", "cfa", rule.pattern, SEEN),
    Row("XBAYROFF", "cfa_shift_x", rule.pixel, SEEN),
    Row("YBAYROFF", "cfa_shift_y", rule.pixel, SEEN),
    Row("BAYOFFX", "cfa_shift_x", rule.pixel, SEEN),
    Row("BAYOFFY", "cfa_shift_y", rule.pixel, SEEN),
    Row("ROWORDER", "row_order", rule.row_order, SEEN),
    # Combinations
    Row("NCOMBINE", "combined_count", rule.count, NOAO),
    Row("SNAPSHOT", "combined_count", rule.count, SBF),
    Row("STACKCNT", "combined_count", rule.count, SEEN),
    Row("NSTACK", "combined_count", rule.count, SEEN),
    Row("NIMAGES", "combined_count", rule.count, SEEN),
    Row("COMBTYPE", "combined_method", rule.text, SEEN),
    Row("CALSTAT", "steps_done", rule.steps_done, SEEN),
    Row("ZEROCOR", "bias_removed_by", rule.text, NOAO),  # IRAF writes the date and the bias it took off
    Row("DARKCOR", "dark_removed_by", rule.text, NOAO),
    Row("FLATCOR", "flat_divided_by", rule.text, NOAO),
)

BY_KEYWORD: dict[str, tuple[int, Row]] = {row.keyword: (place, row) for place, row in enumerate(ROWS)}
