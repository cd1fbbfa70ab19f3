"""The screen of a match: a block a batch with its lights, then a line a purpose, and the reasons below in sentences."""

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime

from darklib.facts.codes import REASONS
from darklib.facts.match import Choice, Match, NearMiss, Use, Verdict
from darklib.jobs.results import SetAsideFile
from darklib.show import text, words
from darklib.show.out import Out, Span

COLUMN = 12
"""Where the text after a label begins, beyond the indentation."""

WORD = 10
"""Room for the verdict's word."""

ONCE = frozenset({"assumed_sensor", "sky_unknown"})
"""Reasons that concern the whole screen: told once, at its end."""


MOST_RUNS = 4
"""So many runs of lights are told for a part that is not one."""


def match(out: Out, items: Sequence[Match], unread: Sequence[SetAsideFile], following: str | None = None) -> None:
    """What serves each batch, how well, and why."""
    for item in items:
        _block(out, item)
        out.line()
    for refused in unread:
        out.paragraph(f"Could not be looked at: {refused.path}: {text.sentence(refused.reason)}", hang=2)
    if not items:
        out.line("There are no lights to match.")
        out.next("darklib batches", "lists the lights there are")
        return
    _summary(out, items)
    if following is not None:
        out.paragraph(f"More with --after {following}")
    if not out.verbose and any(
        choice.runners_up or choice.near_misses for item in items for _, choice in _choices(item)
    ):
        out.line("Runners-up, and what was kept out and why: --verbose.")
    out.next(*_after(items))


def _choices(item: Match) -> tuple[tuple[str, Choice], ...]:
    return (
        ("Darks", item.darks),
        ("Flats", item.flats),
        ("Biases", item.biases),
        ("Dark flats", item.dark_flats),
    )


def _block(out: Out, item: Match) -> None:
    batch = item.batch
    part = f", part {item.part} of {item.parts}" if item.parts > 1 else ""
    out.heading(f"{batch.id}  {batch.target or 'no target'}{part}")
    out.entry("Lights", ", ".join(_lights(item)), column=COLUMN)
    for label, choice in _choices(item):
        _choice(out, label, choice)
    if item.part == item.parts and item.single is not None:
        _single(out, item.single)


def _single(out: Out, choice: Choice) -> None:
    """The alternative to several sets: one for all lights of the batch."""
    told = f"One set for the whole batch instead: {choice.verdict.value}, {_summary_of(choice)}"
    cost = _cost(choice)
    out.paragraph(f"{told}. {cost}" if cost else f"{told}.", indent=2, hang=4)


def _lights(item: Match) -> list[str]:
    batch = item.batch
    parts = [f"{len(item.lights)} x {text.exposure(batch.exposure_s)}"]
    if batch.filter:
        parts.append(f"filter {batch.filter}")
    known = [frame.temperature_c for frame in item.lights if frame.temperature_c is not None]
    parts.append(text.spread(min(known), max(known)) if known else "temperature unknown")
    if item.parts > 1:
        parts += _hours(item)
    parts += [words.setting(batch.readout), words.camera(batch.body), words.optics(batch.train)]
    if batch.pointing != "unknown":
        parts.append("dithered" if batch.pointing == "dithered" else "not dithered")
    return parts


def _hours(item: Match) -> list[str]:
    """When a part's lights were shot, as runs: `21:10 to 23:40 and 02:05 to 02:20 UTC`. It need not be one run."""
    own = {frame.sha256 for frame in item.lights}
    runs: list[list[datetime]] = []
    before = False
    for frame in item.batch.frames:
        here = frame.sha256 in own
        if here and frame.taken_at is not None:
            if not before or not runs:
                runs.append([])
            runs[-1].append(frame.taken_at.astimezone(UTC))
        before = here
    if not runs:
        return []
    told = [f"{run[0]:%H:%M} to {run[-1]:%H:%M}" for run in runs[:MOST_RUNS]]
    return [" and ".join(told) + (" and later" if len(runs) > MOST_RUNS else "") + " UTC"]


def _choice(out: Out, label: str, choice: Choice) -> None:
    summary = _summary_of(choice)
    pieces: list[str | Span] = []
    if choice.stale:
        pieces.append(("stale; " if summary else "stale", "red"))
    pieces.append(summary)
    out.beside([(f"  {label.ljust(COLUMN)}", ""), words.verdict(choice.verdict, WORD)], pieces)
    deep = 2 + COLUMN + WORD
    for reason in choice.reasons:
        if reason.code not in ONCE:
            out.paragraph(text.sentence(reason.text), indent=deep)
    cost = _cost(choice)
    if cost:
        out.paragraph(cost, indent=deep)
    if choice.verdict is Verdict.MISSING and choice.near_misses and not out.verbose:
        out.paragraph(_nearly(choice.near_misses), indent=deep)
    if out.verbose:
        _beyond(out, choice, deep)


def _summary_of(choice: Choice) -> str:
    """`20 x 300 s at -10.0 C, 0.4 C colder than the lights, 34 days old; subtract from the lights`."""
    stock = choice.set
    if stock is None or choice.verdict in (Verdict.MISSING, Verdict.NOT_NEEDED):
        return ""
    parts = [f"{stock.count} x {text.exposure(stock.exposure_s)}"]
    warmth = stock.temperatures.median_c
    if warmth is not None:
        parts[0] += f" at {text.temperature(warmth)}"
    if choice.temperature_mismatch_c is not None:
        parts.append(text.signed(choice.temperature_mismatch_c))
    if choice.age_days is not None:
        parts.append("same night" if choice.age_days == 0 else f"{text.age(choice.age_days)} apart")
    if stock.filter:
        parts.append(f"filter {stock.filter}")
    told = ", ".join(parts)
    if choice.use is not None:
        scale = choice.recipe.scale if choice.recipe is not None else None
        factor = f" by {scale:.4g}" if choice.use is Use.SCALE and scale is not None else ""
        told += "; " + words.USES[choice.use].replace("scale,", f"scale{factor},")
    return f"{told}  [set {stock.id}]"


def _cost(choice: Choice) -> str:
    """What the choice costs, in the pointing that applies, beside what no dark at all would cost."""
    if choice.time_cost_percent is None:
        return ""
    if any(reason.code == "pointing_unknown" for reason in choice.reasons):
        # That reason tells both prices.
        if choice.no_dark_cost_percent is None:
            return ""
        return f"Without any dark it would be {text.percent(choice.no_dark_cost_percent)} if dithered."
    told = f"Costs {text.percent(choice.time_cost_percent)} more exposure time"
    if choice.time_cost_percent == choice.time_cost_percent_fixed and choice.lights_factor is not None:
        told += f", which {choice.lights_factor:.2f} times the lights win back"
    if choice.no_dark_cost_percent is not None:
        told += f"; without any it would cost {text.percent(choice.no_dark_cost_percent)}"
    return told + "."


def _nearly(misses: Sequence[NearMiss]) -> str:
    counted = Counter(miss.failed for miss in misses)
    listed = "; ".join(f"{text.some(count, 'set')}: {REASONS.get(code, code)}" for code, count in counted.most_common())
    return f"Kept out: {listed}."


def _beyond(out: Out, choice: Choice, deep: int) -> None:
    for other in choice.runners_up:
        told = f"Next best: {other.verdict.value.replace('_', ' ')}, {_summary_of(other)}"
        out.paragraph(told, indent=deep, hang=deep + 2)
        for reason in other.reasons:
            if reason.code not in ONCE:
                out.paragraph(text.sentence(reason.text), indent=deep + 2)
    for miss in choice.near_misses:
        what = f"{miss.set.count} x {text.exposure(miss.set.exposure_s)}"
        if miss.set.temperatures.median_c is not None:
            what += f" at {text.temperature(miss.set.temperatures.median_c)}"
        told = f"Kept out: {what} [set {miss.set.id}]: {REASONS.get(miss.failed, miss.failed)}."
        out.paragraph(told, indent=deep, hang=deep + 2)


def _summary(out: Out, items: Sequence[Match]) -> None:
    verdicts = Counter(choice.verdict for item in items for _, choice in _choices(item))
    batches = len({item.batch.id for item in items})
    counted = ", ".join(
        f"{verdicts[verdict]} {verdict.value}"
        for verdict in (Verdict.GOOD, Verdict.USABLE, Verdict.POOR, Verdict.MISSING)
        if verdicts[verdict]
    )
    stale = sum(choice.stale for item in items for _, choice in _choices(item))
    told = f"{text.some(batches, 'batch', 'batches')}: {counted or 'nothing needed'}"
    out.paragraph(told + (f", {stale} of them stale" if stale else "") + ".")
    general = [reason for item in items for _, choice in _choices(item) for reason in choice.reasons]
    for sentence in dict.fromkeys(reason.text for reason in general if reason.code in ONCE):
        out.paragraph(text.sentence(sentence))


def _after(items: Sequence[Match]) -> tuple[str, str]:
    needed = [choice for item in items for _, choice in _choices(item) if choice.verdict is not Verdict.NOT_NEEDED]
    if any(choice.verdict in (Verdict.MISSING, Verdict.POOR) or choice.stale for choice in needed):
        return "darklib gaps --plan", "tells what to shoot; `darklib export` hands over what there is"
    ids = {item.batch.id for item in items}
    if len(ids) == 1:
        return f"darklib export --batch {next(iter(ids))} --to DIR", "hands the files over for stacking"
    return "darklib export --night last --to DIR", "hands the files over for stacking"
