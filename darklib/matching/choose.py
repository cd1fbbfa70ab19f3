"""The match: what serves a batch of lights best, part by part."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from darklib.facts.frame import Frame
from darklib.facts.match import Batch, Choice, Match, NearMiss, Reason, Verdict
from darklib.facts.settings import Settings
from darklib.matching.biases import NOT_NEEDED, ForFlats, biases_for_lights, for_flats
from darklib.matching.dark_pool import dark_pool
from darklib.matching.darks import Judged, ranked
from darklib.matching.flat_pricing import priced_flats
from darklib.matching.flats import choose_flats
from darklib.matching.outcome import chosen
from darklib.matching.parts import split
from darklib.matching.pool import MOST_MISSES, Candidate, Pool
from darklib.matching.pricing import NO_MODELS, Models, Pricing, pricing_of
from darklib.matching.scaled import rescaled, scaled_pool, warmed
from darklib.matching.sets import frames_in
from darklib.matching.stock import Remembered, Stock
from darklib.matching.target import Target, lights_of


def match_all(batches: Iterable[Batch], stock: Stock, settings: Settings, models: Models = NO_MODELS) -> list[Match]:
    """What serves each of several batches; questions they share are asked once. models: measured sensors."""
    remembered = Remembered(stock)
    return [one for batch in batches for one in match(batch, remembered, settings, models)]


def match(batch: Batch, stock: Stock, settings: Settings, models: Models = NO_MODELS) -> list[Match]:
    """What serves one batch: one answer, or several where its temperatures drift beyond one set.

    models: what is known of cameras, by body id and readout key. Where the batch's own is among them its darks are
    priced and the cheapest are chosen, else by simple limits. A batch in parts carries what a single set would cost.

    Darks, flats, biases and dark flats each have a verdict and one use, so that whoever takes each from what its use
    says takes no bias twice. Where the lights need biases (their dark is scaled, or lacks) and so do the flats,
    `dark_flats` holds the flats' biases.
    """
    lights = lights_of(batch)
    flats = choose_flats(stock, lights, settings)
    below_flats = for_flats(stock, flats.set, settings) if flats.set is not None else ForFlats(NOT_NEEDED, NOT_NEEDED)
    pricing = pricing_of(lights, models, batch.pointing)
    if pricing is not None:
        flats = priced_flats(flats, lights, pricing)
    matches: list[Match] = []
    parts, single = _dark_parts(stock, lights, settings, pricing)
    for part, darks in parts:
        biases, dark_flats = _biases(stock, lights, darks, below_flats, settings)
        matches.append(Match(batch, 0, 0, part, darks, flats, biases, dark_flats, single))
    return [replace(one, part=number, parts=len(matches)) for number, one in enumerate(matches, start=1)]


Parts = list[tuple[tuple[Frame, ...], Choice]]


def _dark_parts(
    stock: Stock, lights: Target, settings: Settings, pricing: Pricing | None
) -> tuple[Parts, Choice | None]:
    """The lights in parts by time of their first light, each with its darks; and the best single set for all of them,
    where they are served by several.
    """
    plain = tuple(frame for frame in lights.frames if not frame.in_camera_subtraction)
    done = tuple(frame for frame in lights.frames if frame.in_camera_subtraction)
    parts, single = _by_temperature(stock, lights.part(plain), settings, pricing) if plain else ([], None)
    if done:
        text = "The camera took its own dark off these lights; another one would take it off twice."
        parts.append((done, Choice(Verdict.NOT_NEEDED, reasons=(Reason("in_camera_subtraction", text),))))
    places = {frame.sha256: place for place, frame in enumerate(lights.frames)}
    return sorted(parts, key=lambda part: places[part[0][0].sha256]), single


def _by_temperature(
    stock: Stock, lights: Target, settings: Settings, pricing: Pricing | None
) -> tuple[Parts, Choice | None]:
    found = _darks(stock, lights, settings, pricing)
    judged = ranked("dark", lights, found.candidates, settings, pricing)
    parts = split(lights, judged, settings, pricing)
    while True:
        choices = [chosen(_ranked(lights.part(part), found.candidates, settings, pricing), found) for part in parts]
        # Judged as a whole, two parts may come to the same set after all: then they are one.
        joined = _joined(parts, choices, lights.frames)
        if len(joined) == len(parts):
            if lights.exposure_s is None:
                why = Reason("exposure_mismatch", "The exposure of the lights is not known.")
                choices = [replace(choice, reasons=(*choice.reasons, why)) for choice in choices]
            single = replace(judged[0].choice, runners_up=()) if len(parts) > 1 else None
            return list(zip(parts, choices, strict=True)), single
        parts = joined


def _ranked(part: Target, candidates: Sequence[Candidate], settings: Settings, pricing: Pricing | None) -> list[Judged]:
    return ranked("dark", part, rescaled(part, candidates, pricing), settings, pricing)


def _joined(
    parts: Sequence[tuple[Frame, ...]], choices: Sequence[Choice], order: Sequence[Frame]
) -> list[tuple[Frame, ...]]:
    by_set: dict[str, set[str]] = {}
    for part, choice in zip(parts, choices, strict=True):
        by_set.setdefault(choice.set.id if choice.set else "", set()).update(frame.sha256 for frame in part)
    return [tuple(frame for frame in order if frame.sha256 in members) for members in by_set.values()]


def _darks(stock: Stock, lights: Target, settings: Settings, pricing: Pricing | None) -> Pool:
    """Darks of the lights' exposure; where none is good, also those that could be scaled, if there are biases.

    Where darks have a price, scaled ones are always among them: they may be the cheaper.
    """
    found = dark_pool(stock, "dark", lights, settings)
    judged = ranked("dark", lights, found.candidates, settings, pricing)
    if judged and judged[0].choice.verdict is Verdict.GOOD and pricing is None:
        return found
    if pricing is not None and not pricing.linear:
        return found
    biases = biases_for_lights(stock, lights, settings)
    number = frames_in(biases.set) if biases.set is not None else None
    other = scaled_pool(stock, lights, settings, pricing, number)
    if biases.verdict in (Verdict.GOOD, Verdict.USABLE):
        candidates = found.candidates + other.candidates
        if pricing is not None:
            candidates += tuple(warmed(lights, judged, pricing, number))
        return Pool(candidates, found.misses)
    misses = tuple(NearMiss(one.set, "exposure_mismatch") for one in other.candidates)
    return Pool(found.candidates, (found.misses + misses)[:MOST_MISSES])


def _biases(
    stock: Stock, lights: Target, darks: Choice, below_flats: ForFlats, settings: Settings
) -> tuple[Choice, Choice]:
    """Biases and dark flats of a part."""
    if not _lights_need_bias(darks):
        return below_flats.biases, below_flats.dark_flats
    own = biases_for_lights(stock, lights, settings)
    if darks.verdict is Verdict.MISSING:
        if own.set is None:
            return below_flats.biases, below_flats.dark_flats
        text = "No dark fits; the biases take at least the offset off the lights."
        own = replace(own, reasons=(Reason("nothing_fits", text), *own.reasons))
    if below_flats.biases.verdict is Verdict.NOT_NEEDED:
        return own, below_flats.dark_flats
    return own, below_flats.biases


def _lights_need_bias(darks: Choice) -> bool:
    return darks.verdict is Verdict.MISSING or (darks.recipe is not None and darks.recipe.needs_bias)
