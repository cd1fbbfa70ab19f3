"""One result of every job, written out by hand in an invented observatory, for screens and commands."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from darklib.facts.frame import (
    BodyRef,
    Fact,
    Frame,
    FrameWarning,
    Ignored,
    Kind,
    KindFrom,
    Readout,
    TemperatureFrom,
)
from darklib.facts.match import (
    Batch,
    BodyChange,
    CalibrationSet,
    Choice,
    Match,
    NearMiss,
    Reason,
    Recipe,
    Temperatures,
    TrainChange,
    Use,
    Verdict,
)
from darklib.facts.plan import Gap, Interval, Plan, Step
from darklib.facts.train import TrainFacts, TrainRef
from darklib.jobs import results

BODY = BodyRef("veyra-20m-kfmqz", "veyra|20m|v-07", "garden camera", "Veyra", "20M", "V-07")
TRAIN = TrainRef("53090185", "Larkfell 80/480 480 mm")
READOUT = Readout(gain=100.0, offset=50.0, width=6248, height=4176, cfa=None, bits=16)
EVENING = datetime(2026, 10, 3, 20, 15, tzinfo=UTC)
NIGHT = "2026-10-03"


def frame(number: int, kind: Kind | None = Kind.LIGHT, temperature_c: float | None = -10.0, **changes: object) -> Frame:
    """Return one frame; `number` makes its id."""
    sha256 = f"{number:064x}"[::-1]
    made = Frame(
        id=sha256[:16],
        sha256=sha256,
        size=52_000_000,
        path=f"frames/{kind.value if kind else 'undecided'}/{number}.fits",
        in_place=False,
        source_path=f"/cards/one/{number}.fits",
        kind=kind,
        kind_from=KindFrom.HEADER if kind else None,
        kind_confidence=0.99 if kind else 0.0,
        body=BODY,
        readout=READOUT,
        cfa_rows=None,
        cfa_columns=None,
        exposure_s=300.0,
        temperature_c=temperature_c,
        temperature_error_c=0.5 if temperature_c is not None else None,
        temperature_from=TemperatureFrom.HEADER if temperature_c is not None else None,
        set_temperature_c=-10.0,
        filter="L" if kind in (Kind.LIGHT, Kind.FLAT) else None,
        train=TRAIN if kind in (Kind.LIGHT, Kind.FLAT) else None,
        target="Owl cluster" if kind is Kind.LIGHT else None,
        taken_at=EVENING + timedelta(minutes=5 * number),
        time_from="header",
        night=NIGHT,
        combined=None,
        row_order="top-down",
        median_dn=1200.0,
        mad_dn=12.0,
        saturated_fraction=0.0001,
        series=f"{NIGHT}-bcdfg",
    )
    return replace(made, **changes)  # type: ignore[arg-type]


LIGHTS = tuple(frame(number, temperature_c=-10.0 - number / 10) for number in range(3))
TEMPERATURES = Temperatures(-10.2, -10.1, -10.0, 0)
BATCH = Batch(
    f"{NIGHT}-kfmqz", NIGHT, "Owl cluster", BODY, READOUT, 300.0, "L", TRAIN, TEMPERATURES, LIGHTS, pointing="dithered"
)


def stock(number: int, kind: Kind, count: int = 2, temperature_c: float = -9.6, **changes: object) -> CalibrationSet:
    """Return one set."""
    frames = tuple(frame(number + place, kind, temperature_c) for place in range(count))
    made = CalibrationSet(
        id=f"2026-09-06-{'bcdfghjkmn'[number % 10] * 5}",
        kind=kind,
        body=BODY,
        readout=READOUT,
        exposure_s=300.0,
        filter="L" if kind is Kind.FLAT else None,
        train=TRAIN if kind is Kind.FLAT else None,
        temperatures=Temperatures(temperature_c, temperature_c, temperature_c, 0),
        set_temperature_c=None,
        first_night="2026-09-06",
        last_night="2026-09-06",
        frames=frames,
    )
    return replace(made, **changes)  # type: ignore[arg-type]


DARKS = Choice(
    Verdict.USABLE,
    stock(100, Kind.DARK),
    temperature_mismatch_c=0.5,
    age_days=27,
    use=Use.SCALE,
    recipe=Recipe("scaled", 0.6, needs_bias=True),
    reasons=(
        Reason("too_few", "2 darks are fewer than the 10 of a good set.", {"frames_least": 10.0}),
        Reason("assumed_sensor", "The sensor is not measured yet; simple limits are used."),
    ),
    runners_up=(
        Choice(Verdict.POOR, stock(103, Kind.DARK, temperature_c=-4.0), 6.1, 400, Use.SUBTRACT, Recipe("exact")),
    ),
    near_misses=(NearMiss(stock(105, Kind.DARK), "other_gain"),),
)
FLATS = Choice(
    Verdict.POOR,
    stock(110, Kind.FLAT),
    age_days=0,
    stale=True,
    reasons=(Reason("rotated", "The camera was turned by 37.0 degrees in between.", {"turned_deg": 37.0}),),
)
MISSING = Choice(
    Verdict.MISSING,
    reasons=(Reason("nothing_fits", "Nothing in the library fits."),),
    near_misses=(NearMiss(stock(120, Kind.BIAS), "other_gain"), NearMiss(stock(122, Kind.BIAS), "other_gain")),
)
NOT_NEEDED = Choice(Verdict.NOT_NEEDED)
GOOD = Choice(
    Verdict.GOOD, stock(130, Kind.DARK, 20, -10.1), 0.0, 12, Use.SUBTRACT, Recipe("exact"), time_cost_percent=3.2,
    no_dark_cost_percent=41.0,
)  # fmt: skip
MATCH = Match(BATCH, 1, 1, LIGHTS, DARKS, FLATS, MISSING, NOT_NEEDED)
SERVED = replace(MATCH, darks=GOOD, flats=replace(FLATS, verdict=Verdict.GOOD, stale=False), biases=NOT_NEEDED)

GAP = Gap(
    Kind.DARK, "dark", BODY, READOUT, 300.0, None, None, 24, 7200.0, (BATCH.id,), Interval(-12.0, -8.0, -10.0), 2, 20,
    Verdict.USABLE,
)  # fmt: skip
LATE = replace(
    GAP, kind=Kind.FLAT, role="flat", exposure_s=None, filter="L", train=TRAIN, interval=None, have=0,
    verdict_now=Verdict.MISSING, still_possible=False,
)  # fmt: skip
PLAN = Plan((Step(Kind.DARK, BODY, READOUT, 300.0, -10.0, 18, 90.6, 24),), 110.6, 100.0)

BODY_ENTRY = results.BodyEntry(
    BODY, 120, EVENING, EVENING + timedelta(days=9), (BodyChange(BODY.id, "remapped", EVENING),), ("veyra-20m-bbbbb",)
)
TRAIN_ENTRY = results.TrainEntry(
    TRAIN, TrainFacts("Larkfell 80/480", 480.0, 80.0), (NIGHT,), (TrainChange(TRAIN.fingerprint, EVENING, "re-seated"),)
)
REFUSED = results.SetAsideFile("/cards/one/short.fits", "the file is shorter than its own header says", "truncated")
CHANGED = results.Changed(LIGHTS[0].id, "kind", "light", "dark")
GROUPS = (
    results.KindGroup("g1", Kind.LIGHT, 0.99, 3, "/cards/one/0.fits", ask=False),
    results.KindGroup("g2", None, 0.0, 1, "/cards/one/9.fits", ask=True, exposures_s=(2.0,), hint="even and bright"),
)

INIT = results.InitResult("/libraries/one", "Etc/UTC")
STATUS = results.StatusResult(
    "/libraries/one", "0.1.0", "Etc/UTC", (BODY_ENTRY,), {"light": 24, "dark": 20, "bias": 0, "flat": 1}, 1, 2,
    5_200_000_000, 1, 0, results.LastIngest("run-1", EVENING, True, {"stored": 24}), NIGHT, (GAP,),
)  # fmt: skip
INGEST = results.IngestResult(
    "run-1",
    False,
    results.IngestCounts(7, 4, 1, 1, 1, 1, 208_000_000),
    (*LIGHTS, frame(9, None)),
    (results.Duplicate("/cards/one/again.fits", LIGHTS[0].id),),
    (REFUSED,),
    (results.PassedOver("/cards/one/notes.txt", "not_an_image"),),
    GROUPS,
    ("new camera Borrowed",),
    4,
)
FRAMES = results.FramesResult(
    (*LIGHTS, frame(9, None, warnings=(FrameWarning("saturated", "many pixels are saturated"),))), LIGHTS[2].id
)
SETS = results.SetsResult((results.SetEntry(stock(100, Kind.DARK), 80), results.SetEntry(stock(110, Kind.FLAT), 30)))
BODIES = results.BodiesResult((BODY_ENTRY,))
TRAINS = results.TrainsResult((TRAIN_ENTRY,))
CHECK = results.CheckResult(
    3, 1, (REFUSED,), (results.NotStored("/cards/one/new.fits", "unknown", "never taken in"),),
    (results.PassedOver("/cards/one/notes.txt", "not_an_image"),), False,
)  # fmt: skip
SAFE = results.CheckResult(3, 3, (), (), (), True)
AMENDED = results.ChangedResult((CHANGED,))
BATCHES = results.BatchesResult((BATCH,))
MATCHES = results.MatchResult((MATCH,))
ALL_SERVED = results.MatchResult((SERVED,))
GAPS = results.GapsResult((GAP, LATE), PLAN, ("Cap the optics before direct sunlight can reach them.",))
EXPORT = results.ExportResult(
    ("/stack/lights.txt", "/stack/manifest.json"), "/stack/manifest.json", (BATCH.id,), (SERVED,)
)
EXPLAINED = results.ExplainResult(
    "/libraries/one/frames/light/0.fits",
    True,
    LIGHTS[0],
    (
        Fact("exposure_s", 300.0, "s", "header", "EXPTIME", "300.0"),
        Fact("gain", 100, "", "header", "GAIN", "100.", "odd"),
    ),
    (Ignored("COMMENT", "made at home", "no fact"),),
    (results.Amendment("filter", "L", None, "forgot the header", EVENING, "run-2"),),
    ("/cards/one/0.fits",),
    "the header says so",
)
UNREADABLE = results.ExplainResult("/cards/one/short.fits", False, None, refusal=REFUSED)
KEPT = "/libraries/one/set-aside/run-1/short.fits"
SET_ASIDE = results.SetAsideResult(
    (results.SetAsideEntry(REFUSED.path, KEPT, REFUSED.reason, REFUSED.code, "0" * 64, "run-1", "0.1.0"),)
)
FINDING = results.Finding(
    "/libraries/one/frames/dark/1.fits", "0" * 16, "hash_differs", "its content is not what was stored"
)
VERIFY = results.VerifyResult(10, 9, (FINDING,), (), (), "ok", None, ("the journal of an interrupted run ends early",))
INTACT = results.VerifyResult(10, 10, (), (), (), "ok", "/second/copy")
REBUILD = results.RebuildResult(10, ("Frame 0000 was a dark.",), "/libraries/one/backups/old.sqlite")
DEMO = results.DemoResult("/demo/library", ("/demo/cards/one", "/demo/cards/two"), "/demo/for-stacking")
