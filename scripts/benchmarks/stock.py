"""`match` for last night's 500 lights against libraries of 10,000 and of 100,000 frames."""

from __future__ import annotations

import hashlib
import json
import shutil
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from darklib.facts.entries import Entry, RunEnded, RunStarted, Stored, encode
from darklib.facts.frame import FrameFacts, FrameRecord, Kind, KindDecision, KindFrom, PixelFacts, PlaneLevel
from darklib.facts.train import NO_TRAIN, TrainFacts
from scripts.benchmarks.small_fits import header
from scripts.benchmarks.stopwatch import ROOT, Plan, Row, median, milliseconds, process, seconds_of

LAST_NIGHT = date(2026, 10, 17)
SMALL_NIGHT = LAST_NIGHT - timedelta(days=3)
LIGHTS = 500
FILTERS = ("L", "R", "G", "B", "H-alpha")
TARGETS = ("NGC 7331", "NGC 6946", "NGC 891", "IC 1396", "M 33", "NGC 281", "M 101", "NGC 4565")
COOLED = ("Ostrell", "Ostrell CM-16", "CM16-0417")
RAWS = (("Pellwick", "Pellwick P4", "P4-200117"), ("Pellwick", "Pellwick P4", "P4-200236"))
REFRACTOR = TrainFacts("Harrowfen 90/540", 540.0, 90.0)
NEWTONIAN = TrainFacts(stated="Newtonian 600")


def rows(plan: Plan) -> list[Row]:
    """Whole processes, the two libraries in turns; nothing of a library is opened before."""
    sizes = (1_000, 3_000) if plan.quick else (10_000, 100_000)
    small, large = (library_of(size, plan) for size in sizes)
    last = ("-m", "darklib", "--json", "match", "--night", "last")
    little = ("-m", "darklib", "--json", "match", "--night", SMALL_NIGHT.isoformat())
    asked = [
        (*last, "--library", str(small)),
        (*last, "--library", str(large)),
        (*little, "--library", str(large)),
    ]
    calls = [process(*words, statuses=(0, 3)) for words in asked]
    documents = [json.loads(call().stdout) for call in calls]
    lights, batches = lights_in(documents[1])
    few, _ = lights_in(documents[2])
    if lights != LIGHTS or batches < 10:
        raise RuntimeError(f"the night has {lights} lights in {batches} batches; {LIGHTS} in 10 or more were meant")
    timed: list[list[float]] = [[], [], []]
    for _ in range(3 if plan.quick else 9):
        for seconds, call in zip(timed, calls, strict=True):
            seconds.append(seconds_of(call))
    in_small, in_large, of_few = (median(seconds) for seconds in timed)
    note = (
        f"`match`: {lights} lights in {batches} batches; medians of {len(timed[0])} whole processes in turns, fastest "
        f"{', '.join(milliseconds(min(seconds)) for seconds in timed)}."
    )
    return [
        Row(
            f"`match`, {lights} lights, {sizes[1]:,} frames", milliseconds(in_large), "", "", "under 1 s",
            in_large < 1.0, note,
        ),
        Row(
            f"`match`, {lights} lights, {sizes[1]:,} frames", milliseconds(in_large),
            f"{milliseconds(in_small)}, {sizes[0]:,} frames", f"{in_large / in_small:.2f} times",
            "not with the library: under 1.25 times", in_large / in_small < 1.25, note,
        ),
        Row(
            f"`match`, {lights} lights, {sizes[1]:,} frames", milliseconds(in_large),
            f"{milliseconds(of_few)}, {few} lights", f"{in_large / of_few:.2f} times", "grows with the lights",
            None, note,
        ),
        listing(small, large, sizes, few=plan.quick),
    ]  # fmt: skip


def listing(small: Path, large: Path, sizes: tuple[int, int], *, few: bool) -> Row:
    """The second page of fifty lights, whole processes, the two libraries in turns."""
    calls = []
    for library in (small, large):
        night = ("-m", "darklib", "--json", "--library", str(library), "frames", "--kind", "light", "--limit", "50")
        first = json.loads(process(*night)().stdout)
        calls.append(process(*night, "--after", first["next"]))
    timed: list[list[float]] = [[], []]
    for _ in range(3 if few else 9):
        for seconds, call in zip(timed, calls, strict=True):
            seconds.append(seconds_of(call))
    in_small, in_large = (median(seconds) for seconds in timed)
    return Row(
        f"a page of 50 in `frames`, {sizes[1]:,} frames", milliseconds(in_large),
        f"{milliseconds(in_small)}, {sizes[0]:,} frames", f"{in_large / in_small:.2f} times",
        "not with the library: under 1.25 times", in_large / in_small < 1.25,
        "`frames`: the second page of the lights; medians of whole processes in turns.",
    )  # fmt: skip


def lights_in(document: dict[str, list[dict[str, dict[str, object]]]]) -> tuple[int, int]:
    """How many lights and batches a document of `match` is about; a batch in parts stands in it several times."""
    counts = {str(match["batch"]["id"]): int(str(match["batch"]["count"])) for match in document["matches"]}
    return sum(counts.values()), len(counts)


def library_of(size: int, plan: Plan) -> Path:
    """The library of about so many frames, kept from an earlier run where the code that made it is the same."""
    digest = hashlib.sha256(str(size).encode())
    for folder in ("scripts/benchmarks", "darklib/catalogue", "darklib/facts", "darklib/store", "migrations"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            digest.update(path.read_bytes())
    root = plan.cache / f"{size}-{digest.hexdigest()[:12]}"
    done = root / "cache" / "complete"
    if not done.exists():
        for old in plan.cache.glob(f"{size}-*"):
            shutil.rmtree(old)
        plan.cache.mkdir(parents=True, exist_ok=True)
        print(f"    building a library of {size} frames in {root}", file=sys.stderr, flush=True)
        build(root, size)
        done.parent.mkdir(exist_ok=True)
        done.touch()
    return root


def build(root: Path, size: int) -> None:
    """Journal and catalogue of a library whose files need not exist: matching opens none of them."""
    from darklib.jobs.library import init, open_library
    from darklib.store.journal import JournalWriter

    started = time.perf_counter()
    init(str(root), timezone="Etc/UTC")
    with open_library(root) as opened:
        for number, (moment, entries) in enumerate(runs(size)):
            run = f"{moment:%Y%m%dT%H%M%SZ}-{letters(number)}"
            with JournalWriter(opened.seam, opened.layout.journal, run) as journal:
                offset = journal.append_many([encode(entry) for entry in entries])
                opened.catalogue.apply(entries, run=run, journal_file=journal.path.name, offset=offset)
    print(f"    built in {time.perf_counter() - started:.0f} s", file=sys.stderr, flush=True)


def letters(number: int) -> str:
    """Seven characters for a run's name, in order."""
    digits = "0123456789abcdefghjkmnpqrstvwxyz"
    text = ""
    for _ in range(7):
        number, place = divmod(number, len(digits))
        text = digits[place] + text
    return text


@dataclass(frozen=True, slots=True)
class Stretch:
    """Frames shot one after the other."""

    kind: Kind
    body: tuple[str, str, str]
    exposure_s: float
    count: int
    start: datetime
    first_c: float
    last_c: float
    set_c: float | None = None
    filter: str | None = None
    train: TrainFacts = NO_TRAIN
    target: str | None = None
    iso: int | None = None


def runs(size: int) -> Iterator[tuple[datetime, list[Entry]]]:
    """One ingest a clear night, oldest first, until last night; as many nights as make about `size` frames."""
    nights: list[list[Stretch]] = [last_night()]
    count = LIGHTS
    while count < size:
        number = len(nights)
        stretches = clear_night(LAST_NIGHT - timedelta(days=3 * number), number)
        nights.append(stretches)
        count += sum(stretch.count for stretch in stretches)
    serial = 0
    for stretches in reversed(nights):
        end = max(stretch.start for stretch in stretches) + timedelta(hours=10)
        entries: list[Entry] = [RunStarted("", "ingest", ("card",), end, "0", "bench")]
        for stretch in stretches:
            for record in records(stretch, serial):
                entries.append(Stored(record))
                serial += 1
        entries.append(RunEnded("", end, {"stored": len(entries) - 1}))
        yield end, entries


def last_night() -> list[Stretch]:
    """500 lights in 12 batches: ten of a cooled camera, one each of two uncooled bodies that cool down meanwhile."""
    start = datetime(LAST_NIGHT.year, LAST_NIGHT.month, LAST_NIGHT.day, 19, tzinfo=UTC)
    found = [
        Stretch(
            Kind.LIGHT, COOLED, 60.0, 42, start + timedelta(minutes=45 * place), -10.0, -10.0, -10.0, filter_,
            REFRACTOR, target,
        )
        for place, (target, filter_) in enumerate((target, name) for target in TARGETS[:2] for name in FILTERS)
    ]  # fmt: skip
    found += [
        Stretch(Kind.LIGHT, body, 120.0, 40, start, 14.0, 11.0, train=NEWTONIAN, target=None, iso=1600) for body in RAWS
    ]
    return found


def clear_night(night: date, number: int) -> list[Stretch]:
    """Three targets' lights, flats of the morning, and every tenth night a round of darks and biases."""
    evening = datetime(night.year, night.month, night.day, 20, tzinfo=UTC)
    morning = evening + timedelta(hours=11)
    set_c = (-10.0, -5.0)[number % 2]
    found: list[Stretch] = []
    for place in range(3):
        target = TARGETS[(number + place) % len(TARGETS)]
        exposure_s = (60.0, 120.0, 300.0)[(number + place) % 3]
        filter_ = FILTERS[(number + place) % len(FILTERS)]
        start = evening + timedelta(hours=2 * place)
        found.append(
            Stretch(Kind.LIGHT, COOLED, exposure_s, 18, start, set_c, set_c, set_c, filter_, REFRACTOR, target)
        )
        flats_at = morning + timedelta(minutes=10 * place)
        found.append(Stretch(Kind.FLAT, COOLED, 2.0 + place, 15, flats_at, set_c, set_c, set_c, filter_, REFRACTOR))
    body = RAWS[number % 2]
    warm_c = 5.0 + number * 7 % 16
    found.append(Stretch(Kind.LIGHT, body, 120.0, 20, evening, warm_c + 1, warm_c - 1, train=NEWTONIAN, iso=1600))
    found.append(Stretch(Kind.FLAT, body, 1 / 30, 15, morning, warm_c, warm_c, train=NEWTONIAN, iso=800))
    if number % 10 == 1:
        noon = evening - timedelta(hours=6)
        for place, exposure_s in enumerate((60.0, 120.0, 300.0, 2.0, 3.0, 4.0)):
            at = noon + timedelta(minutes=40 * place)
            found.append(Stretch(Kind.DARK, COOLED, exposure_s, 20, at, set_c, set_c, set_c))
        found.append(Stretch(Kind.BIAS, COOLED, 0.0, 30, noon - timedelta(hours=1), set_c, set_c, set_c))
        found.append(Stretch(Kind.DARK, body, 120.0, 20, noon, warm_c, warm_c, iso=1600))
        found.append(Stretch(Kind.BIAS, body, 1 / 4000, 20, noon, warm_c, warm_c, iso=800))
    return found


def records(stretch: Stretch, serial: int) -> Iterator[FrameRecord]:
    """The frames of a stretch, each with all that the header of a small file tells and the usual figures of pixels."""
    make, model, number = stretch.body
    form = "dng" if stretch.iso else "fits"
    decision = KindDecision(stretch.kind, KindFrom.HEADER, 1.0, "IMAGETYP")
    for place in range(stretch.count):
        share = place / max(stretch.count - 1, 1)
        read = replace(
            template(),
            format=form,
            kind=stretch.kind,
            make=make,
            model=model,
            serial=number,
            exposure_s=stretch.exposure_s,
            gain=None if stretch.iso else 100.0,
            iso=stretch.iso,
            offset=None if stretch.iso else 50.0,
            width=6000,
            height=4000,
            sensor_temperature_c=round(stretch.first_c + share * (stretch.last_c - stretch.first_c), 1),
            set_temperature_c=stretch.set_c,
            filter=stretch.filter,
            train=stretch.train,
            target=stretch.target,
            taken_at=stretch.start + place * timedelta(seconds=stretch.exposure_s + 4),
        )
        name = f"{stretch.kind.value}_{place:04d}.{form}"
        sha256 = hashlib.sha256(f"frame {serial + place}".encode()).hexdigest()
        yield FrameRecord(
            sha256=sha256,
            size=48_000_000,
            path=f"frames/{stretch.kind.value}/{model}/{stretch.start:%Y-%m-%d}/{name}",
            in_place=False,
            read=read,
            measured=MEASURED,
            decision=decision,
            zone="Etc/UTC",
            source_path=f"/media/card/{stretch.start:%Y-%m-%d}/{name}",
            modified=stretch.start,
        )


_READ: list[FrameFacts] = []


def template() -> FrameFacts:
    """What is read from a file with a header of 65 cards."""
    if not _READ:
        import tempfile

        import numpy as np

        from darklib.readers.open import read_facts
        from darklib.scenario.fits_file import fits_bytes

        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "frame.fits"
            path.write_bytes(fits_bytes(np.zeros((20, 20), np.uint16), header(0, cards=65)))
            _READ.append(read_facts(path))
    return _READ[0]


MEASURED = PixelFacts(
    version=1, width=6000, height=4000, median_dn=812.0, mad_dn=8.0, mean_dn=812.3, sd_dn=11.9, min_dn=760.0,
    max_dn=65532.0, saturated_fraction=0.0001, dn_step=4, zero_rows=0,
    planes=tuple(PlaneLevel(colour, 812.0, 8.0, 812.3, 11.9) for colour in ("R", "G", "B")),
    structure={f"figure_{number}": number * 1.37 for number in range(8)},
)  # fmt: skip
