"""The JSON of what lights lack: plans, cool-down runs, habits, the picture of what there is, and a plan followed."""

from typing import TYPE_CHECKING

from darklib.facts.plan import CoolDown, Coverage, Habit, Served
from darklib.jobs.results import GapsResult
from darklib.show import objects
from darklib.show.objects import Json

if TYPE_CHECKING:
    from darklib.jobs.follow import Event


def gaps(result: GapsResult) -> Json:
    """`gaps`, without the name of its schema."""
    return {
        "gaps": [objects.gap(item) for item in result.gaps],
        "plan": objects.plan(result.plan) if result.plan is not None else None,
        "cautions": list(result.cautions),
        "cool_downs": [_cool_down(item) for item in result.cool_downs],
        "habit": _habit(result.habit) if result.habit is not None else None,
        "tonight": [_served(item) for item in result.tonight] if result.tonight is not None else None,
        "tonight_note": result.tonight_note or None,
        "coverage": [_coverage(item) for item in result.coverage] if result.coverage is not None else None,
        "written": list(result.written),
        "next": result.following,
    }


def _cool_down(value: CoolDown) -> Json:
    cooling = None
    if value.cooling is not None:
        cooling = {
            "start_c": value.cooling.start_c,
            "end_c": value.cooling.end_c,
            "half_minutes": value.cooling.half_minutes,
            "series": value.cooling.series,
        }
    return {
        "body": objects.body(value.body),
        "readout": objects.readout(value.readout),
        "exposure_s": value.exposure_s,
        "cooling": cooling,
        "minutes": value.minutes,
        "frames": [{"low_c": one.low_c, "frames": one.frames} for one in value.frames],
        "serves": list(value.serves),
        "lacking": [{"gap": gap, "frames": frames} for gap, frames in value.lacking],
    }


def _habit(value: Habit) -> Json:
    return {
        "body": objects.body(value.body),
        "readout": objects.readout(value.readout),
        "exposure_s": value.exposure_s,
        "served_seconds": value.served_seconds,
        "all_seconds": value.all_seconds,
    }


def _served(value: Served) -> Json:
    return {
        "body": objects.body(value.body),
        "readout": objects.readout(value.readout),
        "exposure_s": value.exposure_s,
        "low_c": value.low_c,
        "high_c": value.high_c,
        "set_point": value.set_point,
        "verdict": value.verdict.value,
        "frames": value.frames,
        "age_days": value.age_days,
        "time_cost_percent": value.time_cost_percent,
        "used_seconds": value.used_seconds,
    }


def _coverage(value: Coverage) -> Json:
    cells = [
        {
            "degree_c": cell.degree_c,
            "exposure_s": cell.exposure_s,
            "have": cell.have,
            "lights": cell.lights,
            "lights_seconds": cell.lights_seconds,
            "lacking": cell.lacking,
        }
        for cell in value.cells
    ]
    return {
        "body": objects.body(value.body),
        "readout": objects.readout(value.readout),
        "cells": cells,
        "unknown": value.unknown,
    }


def followed(event: "Event") -> Json:
    """`gaps --follow`, without the name of its schema: one event."""
    so_far = event.so_far
    not_counted = dict(so_far.not_counted)
    return {
        "at": objects.moment(event.at),
        "event": event.event,
        "text": event.text,
        "now": so_far.now,
        "steps": [
            {
                "number": one.number,
                "counted": one.counted,
                "frames": one.step.frames,
                "spare": one.spare,
                "done": one.done,
            }
            for one in so_far.steps
        ],
        "reading_c": so_far.reading_c,
        "slope_c_per_minute": so_far.slope_c_per_minute,
        "inside": so_far.inside,
        "settled": so_far.settled,
        "not_counted": {
            "temperature": not_counted.get("temperature", 0),
            "other": sum(count for why, count in so_far.not_counted if why != "temperature"),
        },
    }
