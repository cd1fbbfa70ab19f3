"""The library's darklib.toml: the text `init` writes, and reading it back into `Settings`.

Only the standard library is imported: every command reads the configuration.
"""

import difflib
import math
import tomllib
import types
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any, Union, cast, get_args, get_origin, get_type_hints

from darklib.facts.errors import DarklibError, Exit
from darklib.facts.night import zone
from darklib.facts.settings import Camera, Counts, Limits, PriceLimits, Settings, Shooting, Site
from darklib.store.layout import MARKER
from darklib.store.mishap import told
from darklib.store.names import shown
from darklib.store.seam import Seam, StrPath

# What stands above each section and key of a new darklib.toml. A test holds it against the fields of Settings.
SECTIONS: tuple[tuple[str, type, str], ...] = (
    ("site", Site, "Where the camera stands."),
    ("counts", Counts, "How many frames make a set. Below `least` it is too small to be good; a gap asks for `good`."),
    ("limits", Limits, "Limits of the verdicts until the sensor is measured."),
    ("prices", PriceLimits, "Limits of the verdicts of darks once the sensor is measured, against an exact set."),
    ("shooting", Shooting, "What shooting costs in time, for plans."),
)
COMMENTS: dict[str, str] = {
    "site.timezone": "IANA name. The night begins at local noon there; times without a zone in files are read in it.",
    "site.latitude_deg": "Degrees, north positive.",
    "site.longitude_deg": "Degrees, east positive.",
    "limits.good_temperature_c": "Darks this far in temperature from the lights can still be good (degrees C).",
    "limits.usable_temperature_c": "Darks this far off can still be usable (degrees C).",
    "limits.aged_days": "Darks and biases older than this are named as aged.",
    "limits.set_span_c": "Darks of one set lie within this many degrees C.",
    "limits.flats_aged_days": "Flats this many days from the lights are named as aged.",
    "limits.long_flat_s": "A flat exposed longer than this wants dark flats; a shorter one does with biases (seconds).",
    "prices.good_dithered_percent": "More exposure time a good set may cost where the lights were dithered (percent).",
    "prices.good_fixed_percent": "The same where the sky stayed on the same pixels (percent).",
    "prices.good_hot_pixels_per_megapixel": "Hot pixels a good set may leave, a million pixels.",
    "prices.good_flat_residual_percent": "False vignetting a good set may leave by its level (percent of the sky).",
    "prices.usable_dithered_percent": "The same for a set that is still usable, dithered (percent).",
    "prices.usable_fixed_percent": "The same for a set that is still usable, not dithered (percent).",
    "prices.usable_hot_pixels_per_megapixel": "Hot pixels a set that is still usable may leave, a million pixels.",
    "prices.usable_flat_residual_percent": "False vignetting that is still usable (percent of the sky).",
    "shooting.download_s": "Time from the end of an exposure to the start of the next (seconds).",
    "shooting.settling_minutes": "Time a cooler or the air takes to settle at another temperature (minutes).",
    "cameras.lowest_c": "Lower limit of the operating range from the camera's own manual (degrees C).",
    "cameras.cooled": "Whether the camera has a cooler of its own.",
}
_EXAMPLES: dict[str, str] = {
    "site.latitude_deg": "0.0",
    "site.longitude_deg": "0.0",
    "cameras.lowest_c": "0.0",
    "cameras.cooled": "false",
}
# key -> (least, most) that makes sense
RANGES: dict[str, tuple[float, float]] = {
    "site.latitude_deg": (-90.0, 90.0),
    "site.longitude_deg": (-180.0, 360.0),
    "limits.good_temperature_c": (0.0, 100.0),
    "limits.usable_temperature_c": (0.0, 100.0),
    "limits.set_span_c": (0.0, 100.0),
    "limits.aged_days": (0, 100_000),
    "limits.flats_aged_days": (0, 100_000),
    "limits.long_flat_s": (0.0, 100_000.0),
    "shooting.download_s": (0.0, 100_000.0),
    "shooting.settling_minutes": (0.0, 100_000.0),
    "cameras.lowest_c": (-273.15, 100.0),
} | {f"counts.{item.name}": (1, 100_000) for item in fields(Counts)}
RANGES |= {f"prices.{item.name}": (0.0, 1_000_000.0) for item in fields(PriceLimits)}
# The lesser of each pair must not exceed the greater.
_ORDERED = (
    ("counts.darks_least", "counts.darks_good"),
    ("counts.flats_least", "counts.flats_good"),
    ("counts.biases_least", "counts.biases_good"),
    ("counts.dark_flats_least", "counts.dark_flats_good"),
    ("limits.good_temperature_c", "limits.usable_temperature_c"),
    ("prices.good_dithered_percent", "prices.usable_dithered_percent"),
    ("prices.good_fixed_percent", "prices.usable_fixed_percent"),
    ("prices.good_hot_pixels_per_megapixel", "prices.usable_hot_pixels_per_megapixel"),
    ("prices.good_flat_residual_percent", "prices.usable_flat_residual_percent"),
)


def default_text(timezone: str) -> str:
    """A new library's configuration: every key with its default, commented out except the time zone.

    timezone: an IANA name; DarklibError (usage) where there is no such zone.
    """
    zone(timezone)
    lines = [
        "# The configuration of this darklib library; this file marks the folder as one.",
        "# A line that begins with # is not read: take the # away to change a value.",
    ]
    for section, cls, comment in SECTIONS:
        lines += ["", f"# {comment}", f"[{section}]"]
        for item in fields(cls):
            key = f"{section}.{item.name}"
            if key in COMMENTS:
                lines.append(f"# {COMMENTS[key]}")
            if key == "site.timezone":
                lines.append(f'timezone = "{timezone}"')
            else:
                lines.append(f"# {item.name} = {_EXAMPLES.get(key) or _toml(item.default)}")
    lines += ["", "# One section a camera, by the id that `darklib bodies` shows."]
    lines.append('# [cameras."CAMERA-ID"]')
    for item in fields(Camera):
        key = f"cameras.{item.name}"
        lines += [f"# {COMMENTS[key]}", f"# {item.name} = {_EXAMPLES[key]}"]
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(value)


def load(seam: Seam, path: StrPath) -> Settings:
    """The settings in a darklib.toml. DarklibError with status USAGE names the key that is wrong and what is right."""
    with told(path, "cannot read the configuration"):
        data = seam.read_bytes(path)
    try:
        text = data.decode("utf-8-sig")  # some editors put a byte-order mark in front
    except UnicodeDecodeError as error:
        raise _wrong(path, f"byte {error.start} is not UTF-8", "Save the file as UTF-8.") from error
    return parse(text, path)


def parse(text: str, path: StrPath = MARKER) -> Settings:
    """The settings in a text of the form of darklib.toml; path: for messages. Errors as of `load`."""
    try:
        table = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        raise _wrong(path, f"it is not TOML: {error}", "Correct that line.") from error
    settings = cast(Settings, _section(Settings, table, (), path))
    zone(settings.site.timezone)
    for lesser, greater in _ORDERED:
        if _value(settings, lesser) > _value(settings, greater):
            raise _wrong(path, f"{lesser} is larger than {greater}", "Correct one of the two.")
    return settings


def _section(cls: type, table: Mapping[str, Any], where: tuple[str, ...], path: StrPath) -> Any:
    hints = get_type_hints(cls)
    known = [item.name for item in fields(cls)]
    for key in table:
        if key not in known:
            raise _unknown(key, known, where, path)
    return cls(**{key: _read(hints[key], value, (*where, key), path) for key, value in table.items()})


def _read(hint: Any, value: Any, where: tuple[str, ...], path: StrPath) -> Any:
    if get_origin(hint) in (Union, types.UnionType):  # TOML has no null: what is there is never None
        (hint,) = (option for option in get_args(hint) if option is not types.NoneType)
    name = ".".join(where)
    if get_origin(hint) is dict or is_dataclass(hint):
        if not isinstance(value, dict):
            raise _wrong(path, f"{name} must be a section, written [{name}]", "Write it as a section.")
        if is_dataclass(hint):
            return _section(cast(type, hint), value, where, path)
        return {key: _read(get_args(hint)[1], item, (*where, key), path) for key, item in value.items()}
    if hint is float and isinstance(value, int) and not isinstance(value, bool):
        value = float(value)
    if type(value) is not hint:
        raise _wrong(path, f"{name} must be {_SORTS[hint]}, not {value!r}", f"Write {name} as {_SORTS[hint]}.")
    if isinstance(value, float) and not math.isfinite(value):
        raise _wrong(path, f"{name} must be a finite number", "Write a number.")
    # cameras."some-id".lowest_c has the range of cameras.lowest_c
    bounds = RANGES.get(f"{where[0]}.{where[-1]}")
    if bounds is not None and not bounds[0] <= value <= bounds[1]:
        raise _wrong(path, f"{name} is {value}", f"It must lie between {bounds[0]} and {bounds[1]}.")
    return value


_SORTS: dict[Any, str] = {
    str: "a text in quotes",
    int: "a whole number",
    float: "a number",
    bool: "true or false",
}


def _value(settings: Settings, key: str) -> Any:
    section, name = key.split(".")
    return getattr(getattr(settings, section), name)


def _unknown(key: str, known: list[str], where: tuple[str, ...], path: StrPath) -> DarklibError:
    full = ".".join((*where, key))
    names = {name: name for name in known}
    if not where:  # a key of some section may have been written above the sections
        names |= {item.name: f"{item.name} under [{section}]" for section, cls, _ in SECTIONS for item in fields(cls)}
    near = [names[name] for name in difflib.get_close_matches(key, list(names), n=1, cutoff=0.5)]
    remedy = f"Did you mean {near[0]}?" if near else f"Known are: {', '.join(known)}."
    return _wrong(path, f"unknown key {full}", remedy)


def _wrong(path: StrPath, what: str, remedy: str) -> DarklibError:
    place = shown(str(Path(path)))
    return DarklibError(
        "configuration",
        f"The configuration {place} cannot be used: {shown(what)}.",
        path=place,
        remedy=remedy,
        status=Exit.USAGE,
    )
