"""Dark flats and biases: what is taken off the flats, and biases where the lights need one. No bias twice."""

from dataclasses import dataclass, replace

from darklib.facts.frame import Kind
from darklib.facts.match import CalibrationSet, Choice, Reason, Series, Use, Verdict, Wanted
from darklib.facts.settings import Settings
from darklib.matching.dark_pool import dark_pool
from darklib.matching.darks import ranked
from darklib.matching.outcome import chosen
from darklib.matching.pool import Pool, one_temperature, pool, with_merged
from darklib.matching.stock import Stock
from darklib.matching.target import Target, flats_of, nights_apart
from darklib.matching.verdicts import RANK

NOT_NEEDED = Choice(Verdict.NOT_NEEDED)


@dataclass(frozen=True, slots=True)
class ForFlats:
    """What is taken off the flats: dark flats or biases, never both."""

    dark_flats: Choice
    biases: Choice


def bias_pool(stock: Stock, target: Target, settings: Settings) -> Pool:
    """Sets of biases of the target's readout, merged ones included, and what just misses."""
    body = target.body.id if target.body else None
    questions = [
        Wanted(Kind.BIAS, body, near=target.near, limit=60),
        Wanted(Kind.BIAS, None, near=target.near, limit=20),
    ]

    def rank(series: Series) -> tuple[float, ...]:
        days = nights_apart(target.night, series.night)
        return (float("inf") if days is None else float(days),)

    found = pool(stock, "bias", target, questions, rank, settings, most_frames=120)
    # A bias depends little on the temperature, but what is combined should still be alike.
    fit = one_temperature(10 * settings.limits.set_span_c)
    return Pool(with_merged(found.candidates, "bias", settings, fit), found.misses)


def biases_for_lights(stock: Stock, lights: Target, settings: Settings) -> Choice:
    """The biases of the lights' own readout, to be taken off the lights."""
    found = bias_pool(stock, lights, settings)
    choice = chosen(ranked("bias", lights, found.candidates, settings), found)
    return replace(
        choice,
        use=Use.SUBTRACT if choice.set is not None else None,
        runners_up=tuple(replace(one, use=Use.SUBTRACT) for one in choice.runners_up),
    )


def for_flats(stock: Stock, flats: CalibrationSet, settings: Settings) -> ForFlats:
    """Dark flats or biases for the chosen flats: of the flats' readout, and dark flats of the flats' exposure.

    Short flats do with either, whichever is better; dark flats where they are equally good, because they hold the
    little dark current as well. Flats longer than `limits.long_flat_s` want dark flats, and biases only stand in.
    """
    combined = flats.frames[0].combined
    if combined is not None and (combined.normalised or combined.bias_removed):
        return ForFlats(NOT_NEEDED, NOT_NEEDED)
    target = flats_of(flats)
    found = dark_pool(stock, "dark_flat", target, settings)
    dark_flats = chosen(ranked("dark_flat", target, found.candidates, settings), found)
    bias_found = bias_pool(stock, target, settings)
    biases = chosen(ranked("bias", target, bias_found.candidates, settings), bias_found)
    limit_s = settings.limits.long_flat_s
    if flats.exposure_s is not None and flats.exposure_s <= limit_s:
        if dark_flats.set is not None and _place(dark_flats) <= _place(biases):
            return ForFlats(dark_flats, NOT_NEEDED)
        return ForFlats(NOT_NEEDED, biases)
    if dark_flats.verdict in (Verdict.GOOD, Verdict.USABLE) or biases.set is None:
        return ForFlats(dark_flats, NOT_NEEDED)
    # Never both: the poor dark flats, which hold a bias themselves, step back behind the biases.
    lacking = dark_flats
    if dark_flats.set is not None:
        poor = replace(dark_flats, runners_up=(), near_misses=())
        lacking = Choice(
            Verdict.MISSING,
            reasons=dark_flats.reasons,
            runners_up=(poor, *dark_flats.runners_up)[:3],
            near_misses=dark_flats.near_misses,
        )
    return ForFlats(lacking, _standing_in(biases, flats.exposure_s, limit_s))


def _standing_in(biases: Choice, exposure_s: float | None, limit_s: float) -> Choice:
    """Biases for flats so long that they want dark flats: usable at most."""
    if exposure_s is None:
        reason = Reason("exposure_mismatch", "The flats' exposure is not known, so it may be too long for biases.")
    else:
        text = (
            f"The flats were exposed {exposure_s:g} s; over {limit_s:g} s they want dark flats; biases only stand in."
        )
        reason = Reason("exposure_mismatch", text, {"flats_s": exposure_s, "limit_s": limit_s})
    verdict = Verdict.USABLE if biases.verdict is Verdict.GOOD else biases.verdict
    return replace(biases, verdict=verdict, reasons=(reason, *biases.reasons))


def _place(choice: Choice) -> tuple[bool, int]:
    unknown = any(
        reason.code.endswith("_unknown") and reason.code != "temperature_unknown" for reason in choice.reasons
    )
    return (unknown, RANK[choice.verdict])
