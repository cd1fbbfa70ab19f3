"""Frames for the tests of matching: an invented camera's card, written in a few words."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from itertools import count

from darklib.facts.frame import BodyRef, Combined, Frame, FrameWarning, Kind, KindFrom, Readout, TemperatureFrom
from darklib.facts.naming import body_id, body_key
from darklib.facts.night import night_of
from darklib.facts.train import TrainFacts, TrainRef, fingerprint, label

READOUT = Readout(gain=100.0, offset=30.0, width=3008, height=3008, origin_x=0, origin_y=0, bits=16, dn_step=1)


def body(serial: str | None = "A1", model: str = "Quiet Eye 9") -> BodyRef:
    return BodyRef(
        body_id("Inventor", model, serial),
        body_key("Inventor", model, serial),
        f"{model} ({serial})",
        "Inventor",
        model,
        serial,
    )


def train(name: str = "Long Tube", focal_mm: float = 800.0) -> TrainRef:
    facts = TrainFacts(telescope=name, focal_length_mm=focal_mm)
    return TrainRef(fingerprint(facts), label(facts))


BODY, TRAIN = body(), train()


def at(text: str) -> datetime:
    """A moment in UTC, which is the zone of the site in these tests."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


_number = count(1)


def frames(
    kind: Kind,
    many: int,
    start: str,
    *,
    exposure_s: float | None,
    temperature_c: float | list[float] | None = None,
    body: BodyRef | None = BODY,
    readout: Readout = READOUT,
    filter_: str | None = None,
    train: TrainRef | None = None,
    target: str | None = None,
    set_c: float | None = None,
    combined: Combined | None = None,
    subtraction: bool | None = None,
    warnings: tuple[FrameWarning, ...] = (),
    retired: bool = False,
    rotator_deg: float | None = None,
    focuser: float | None = None,
    saturated: float | None = None,
    every_s: float | None = None,
) -> list[Frame]:
    """`many` frames from `start` on, one after the other. A list of temperatures is gone through in turn."""
    begin = at(start)
    step = timedelta(seconds=every_s if every_s is not None else (exposure_s or 0.0) + 5.0)
    made = []
    for place in range(many):
        taken = begin + place * step
        sha = hashlib.sha256(f"frame {next(_number)}".encode()).hexdigest()
        value = temperature_c[place % len(temperature_c)] if isinstance(temperature_c, list) else temperature_c
        made.append(
            Frame(
                id=sha[:16],
                sha256=sha,
                size=1,
                path=f"frames/{sha}.fits",
                in_place=False,
                source_path=f"/card/{sha}.fits",
                kind=kind,
                kind_from=KindFrom.HEADER,
                kind_confidence=1.0,
                body=body,
                readout=readout,
                cfa_rows=None,
                cfa_columns=None,
                exposure_s=exposure_s,
                temperature_c=value,
                temperature_error_c=None if value is None else 0.5,
                temperature_from=None if value is None else TemperatureFrom.HEADER,
                set_temperature_c=set_c,
                filter=filter_,
                train=train,
                target=target,
                taken_at=taken,
                time_from="header",
                night=night_of(taken, "Etc/UTC"),
                combined=combined,
                row_order=readout.row_order,
                median_dn=None,
                mad_dn=None,
                saturated_fraction=saturated,
                in_camera_subtraction=subtraction,
                rotator_deg=rotator_deg,
                focuser_position=focuser,
                warnings=warnings,
                retired=retired,
            )
        )
    return made


def lights(many: int = 20, start: str = "2026-03-10T21:00", temperature_c=5.0, exposure_s=300.0, **more):
    more = {"train": TRAIN, "filter_": "L", "target": "Dumb Bell", **more}
    return frames(Kind.LIGHT, many, start, exposure_s=exposure_s, temperature_c=temperature_c, **more)


def darks(many: int = 20, start: str = "2026-03-01T20:00", temperature_c=5.0, exposure_s=300.0, **more):
    return frames(Kind.DARK, many, start, exposure_s=exposure_s, temperature_c=temperature_c, **more)


def flats(many: int = 20, start: str = "2026-03-11T06:00", temperature_c=8.0, exposure_s=0.5, **more):
    more = {"train": TRAIN, "filter_": "L", **more}
    return frames(Kind.FLAT, many, start, exposure_s=exposure_s, temperature_c=temperature_c, **more)


def biases(many: int = 20, start: str = "2026-03-01T19:00", temperature_c=8.0, exposure_s=0.0, **more):
    return frames(Kind.BIAS, many, start, exposure_s=exposure_s, temperature_c=temperature_c, **more)
