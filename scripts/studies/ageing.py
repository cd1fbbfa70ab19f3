"""Whether the share of hot pixels that changed is told rightly: 0, 1 and 5 percent replaced, at other temperatures."""

import numpy as np

from darklib.sensor.ageing import aged
from darklib.sensor.reference import combined
from scripts.studies.hot_sensor import drawn

DARKS = 5
DARK_S = 180.0


def run(seed: int, count: int) -> str:
    """count: how many bodies for each share."""
    rng = np.random.default_rng(seed)
    lines = [
        f"Seed {seed}, {count} bodies of 100 to 3,000 hot pixels for each row, two sets of {DARKS} darks each.",
        "",
        "Within: the told share within 0.3 percent of the share that was replaced, or within one or two stated errors.",
        "",
        "| replaced | warmer or colder by | told, mean | median error stated | within 0.3 % or one error | or two |",
        "|---|---|---|---|---|---|",
    ]
    rows = [_row(rng, share, most_c, count) for share in (0.0, 0.01, 0.05) for most_c in (0.0, 12.0)]
    return "\n".join(lines + rows)


def _row(rng: np.random.Generator, share: float, most_c: float, count: int) -> str:
    told, truths, errors = [], [], []
    for _ in range(count):
        hot = round(10 ** rng.uniform(2.0, np.log10(3000)))
        sensor = drawn(rng, hot)
        older_c = float(rng.uniform(4, 16))
        newer_c = older_c + float(rng.uniform(-most_c, most_c))
        later = sensor.aged(rng, share)
        before = combined([sensor.evidence(sensor.array(rng, DARK_S, older_c)) for _ in range(DARKS)], DARK_S)
        after = combined([later.evidence(later.array(rng, DARK_S, newer_c)) for _ in range(DARKS)], DARK_S)
        assert before is not None
        assert after is not None
        found = aged(before, after)
        if found is None:
            continue
        told.append(found.share.value)
        errors.append(found.share.error or 0.0)
        truths.append(round(share * hot) / hot)
    off = np.abs(np.array(told) - np.array(truths))
    error = np.array(errors)
    one, two = (float(np.mean(off <= np.maximum(0.003, times * error))) for times in (1.0, 2.0))
    return (
        f"| {share:.0%} | {most_c:g} C at most | {np.mean(told):.2%} of {len(told)} | {np.median(error):.2%} | "
        f"{one:.0%} | {two:.0%} |"
    )
