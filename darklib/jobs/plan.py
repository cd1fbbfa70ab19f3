"""What lights lack, and a plan for shooting it."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path

from darklib.catalogue.catalogue import FrameQuery
from darklib.facts.errors import DarklibError, Exit
from darklib.facts.frame import BodyRef, Kind
from darklib.facts.match import Batch, Match
from darklib.facts.night import night_of
from darklib.facts.plan import CoolDown, Cooling, Coverage, Gap
from darklib.jobs.asked import GapsAsked, Nights
from darklib.jobs.body_named import body_meant
from darklib.jobs.library import Opened
from darklib.jobs.match import batches_asked, matches_of
from darklib.jobs.results import GapsResult
from darklib.jobs.sensor import sensor_models
from darklib.jobs.to_come import expected_matches, month_matches
from darklib.planning.cautions import cautions
from darklib.planning.cool_down import Reading, cool_downs, cooling_of
from darklib.planning.coverage import coverage_of
from darklib.planning.evening import evening_of
from darklib.planning.gaps import gaps_of
from darklib.planning.habit import habit_of
from darklib.planning.reach import by_price
from darklib.planning.shooting_plan import plan_of
from darklib.store.durable import write_new


def gaps(opened: Opened, asked: GapsAsked = GapsAsked()) -> GapsResult:  # noqa: B008 (frozen)
    """What lacks for the lights asked for and those to come; in order, cut to an evening, as a picture, as asked."""
    if asked.tonight:
        return _tonight(opened, asked)
    body = body_meant(opened, asked.body) if asked.body is not None else None
    batches = _of_body(batches_asked(opened, nights=asked.nights, target=asked.target).batches, body)
    matches = matches_of(opened, batches)
    now = opened.seam.now()
    night = night_of(now, opened.settings.site.timezone)
    coming = _to_come(opened, asked, night, now)
    found = _gaps_of(opened, batches, [*matches, *coming], {one.batch.id for one in coming})
    plan = None
    if asked.evening_minutes is not None:
        plan = evening_of(found, opened.settings, asked.evening_minutes)
    elif asked.plan:
        plan = plan_of(found, opened.settings)
    left_out = plan.evening.left_out if plan is not None and plan.evening is not None else ()
    shot = [gap for gap in found if gap.id not in left_out]
    told = cautions(shot, plan, opened.settings, room_c=asked.room_c, humidity_percent=asked.humidity_percent)
    return GapsResult(
        tuple(found),
        plan,
        tuple(told),
        bool(batches or coming),
        cool_downs=_cool_downs(opened, found) if asked.wants_plan else (),
        habit=habit_of(
            [one for one in opened.catalogue.series(Kind.LIGHT) if _is_of(one.body, body)],
            opened.catalogue.series(Kind.DARK),
            opened.settings,
        ),
        coverage=_coverage(opened, batches, found, body) if asked.coverage else None,
    )


def gaps_found(opened: Opened, nights: Nights) -> list[Gap]:
    """The gaps of the batches of some nights."""
    batches = batches_asked(opened, nights=nights).batches
    return _gaps_of(opened, batches, matches_of(opened, batches))


def written(opened: Opened, name: str, data: bytes) -> str:
    """Writes a page or picture to the file of that name and returns its absolute path. Another file there is never
    overwritten.
    """
    path = Path(opened.seam.absolute(name))
    write_new(opened.seam, path, data)
    return str(path)


def _gaps_of(
    opened: Opened, batches: Sequence[Batch], matches: Sequence[Match], to_come: Iterable[str] = ()
) -> list[Gap]:
    trains = {batch.train.fingerprint for batch in batches if batch.train}
    changes = [change for train in sorted(trains) for change in opened.catalogue.train_changes(train)]
    return gaps_of(
        matches,
        opened.settings,
        train_changes=changes,
        tonight=night_of(opened.seam.now(), opened.settings.site.timezone),
        reach_of=by_price(opened.settings, sensor_models(opened)),
        to_come=frozenset(to_come),
    )


def _to_come(opened: Opened, asked: GapsAsked, night: str, at: datetime) -> list[Match]:
    coming: list[Match] = []
    if asked.expected:
        coming += expected_matches(opened, asked.expected, asked.body, night, at)
    if asked.month is not None:
        again = month_matches(opened, asked.month, asked.body, night, at)
        if not again:
            raise DarklibError(
                "not_found",
                f"No lights were shot in month {asked.month} of any year, so nobody can tell what it will bring.",
                remedy="State what you mean to shoot with --expect, as in --expect '300s 8:12C'.",
                status=Exit.FAILED,
            )
        coming += again
    return coming


def _of_body(batches: Sequence[Batch], body: BodyRef | None) -> list[Batch]:
    return [batch for batch in batches if _is_of(batch.body, body)]


def _is_of(own: BodyRef | None, wanted: BodyRef | None) -> bool:
    return wanted is None or (own is not None and own.id == wanted.id)


def _cool_downs(opened: Opened, found: Sequence[Gap]) -> tuple[CoolDown, ...]:
    """Cool-down runs for cameras without a cooler, with what their darks of earlier nights tell of the cooling."""
    bodies = {gap.body.id for gap in found if gap.body is not None and gap.cooled is not True and gap.interval}
    series = [one for one in opened.catalogue.series(Kind.DARK) if one.body is not None and one.body.id in bodies]
    # A series that never changed its temperature tells nothing, and need not be fetched.
    falling = [one for one in series if (one.temperatures.max_c or 0.0) - (one.temperatures.min_c or 0.0) >= 1.0]
    frames = opened.catalogue.series_frames([one.id for one in falling])
    coolings: dict[str, Cooling | None] = {}
    for body in bodies:
        nights: dict[str, list[Reading]] = {}
        for one in falling:
            if one.body is not None and one.body.id == body:
                nights.setdefault(one.night or "", []).extend(
                    Reading(frame.taken_at, frame.temperature_c)
                    for frame in frames.get(one.id, ())
                    if frame.taken_at is not None and frame.temperature_c is not None
                )
        coolings[body] = cooling_of(nights.values())
    return tuple(cool_downs(found, coolings, opened.settings))


def _coverage(
    opened: Opened, batches: Sequence[Batch], found: Sequence[Gap], body: BodyRef | None
) -> tuple[Coverage, ...]:
    query = FrameQuery(kind=Kind.DARK, body=body.id if body is not None else None, retired=False)
    lights = [frame for batch in batches for frame in batch.frames]
    return tuple(coverage_of(opened.catalogue.frames(query).frames, lights, found))


def _tonight(opened: Opened, asked: GapsAsked) -> GapsResult:
    from darklib.jobs.tonight import tonight

    now = opened.seam.now()
    rows, note = tonight(opened, asked, night_of(now, opened.settings.site.timezone), now)
    return GapsResult((), None, (), lights=True, tonight=rows, tonight_note=note)
