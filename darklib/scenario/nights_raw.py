"""The nights of the two uncooled bodies of one model: memory cards of raw files.

Nothing in a raw file says what it was taken for or how warm the sensor was; what its owner knows of a folder is
stated when it is taken in. File counters of two cards, and of two folders of one card, give the same names.
"""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from darklib.facts.frame import Kind
from darklib.scenario.camera import Camera
from darklib.scenario.cast import (
    FAST_ISO,
    FIRST_BODY,
    NEWTONIAN,
    NEWTONIAN_DUST,
    SECOND_BODY,
    SLOW_ISO,
    raw_camera,
)
from darklib.scenario.files import Card
from darklib.scenario.nights_cooled import scaled_count
from darklib.scenario.oddments import preview
from darklib.scenario.optics import Train
from darklib.scenario.roll import Roll

REFLECTOR = Train(NEWTONIAN, NEWTONIAN_DUST, 0.0, (-0.2, 0.1))
STATED_TRAIN = "Newtonian 600"
SUB_S = 120.0
FLAT_S = 1 / 30
BIAS_S = 1 / 4000
FRIDGE_C = (6.0, 13.0, 20.0)


def raw_cards(seed: int, scale: float) -> tuple[Card, ...]:
    """Both bodies' cards in the order they were shot."""
    first = _Bag(raw_camera(seed, FIRST_BODY), seed, scale, "first")
    second = _Bag(raw_camera(seed, SECOND_BODY), seed, scale, "second")
    return (*first.first_body(), *second.second_body())


class _Bag:
    """One body with its cards."""

    def __init__(self, camera: Camera, seed: int, scale: float, body: str) -> None:
        self.camera, self.seed, self.scale, self.body = camera, seed, scale, body

    def first_body(self) -> tuple[Card, ...]:
        """A night at ISO 1600 with flats, darks from the fridge at three temperatures, biases at both settings."""
        train = ("--train", STATED_TRAIN)
        start = datetime(2026, 9, 12, 22, 15, tzinfo=UTC)
        lights = self._roll("light", Kind.LIGHT, FAST_ISO, SUB_S, 12, start, (15.2, 12.9), 100, target="NGC 6960")
        evening = Card(
            "first-2026-09-12-evening",
            ("--temperature", "14", *train),
            (*lights.files(self.seed), preview("DCIM/100PLLWK/IMG_0001.JPG", start)),
        )
        flats = self._roll(
            "flat", Kind.FLAT, SLOW_ISO, FLAT_S, 10, datetime(2026, 9, 13, 7, 10, tzinfo=UTC), (15.0, 15.5), 100,
            first_number=1 + lights.count,
        )  # fmt: skip
        cards = [evening, Card("first-2026-09-13-morning", train, flats.files(self.seed))]

        start, number = datetime(2026, 9, 20, 18, 0, tzinfo=UTC), 1
        for fridge_c in FRIDGE_C:
            name = f"dark {fridge_c:.0f}C"
            ends = (fridge_c - 0.3, fridge_c + 0.3)
            roll = self._roll(name, Kind.DARK, FAST_ISO, SUB_S, 10, start, ends, 101, first_number=number)
            cards.append(
                Card(f"first-fridge-{fridge_c:02.0f}c", ("--temperature", f"{fridge_c:.0f}"), roll.files(self.seed))
            )
            start, number = roll.end() + timedelta(hours=1, minutes=30), number + roll.count
        fast = self._roll("bias 1600", Kind.BIAS, FAST_ISO, BIAS_S, 10, start, (20.0, 20.4), 101, first_number=number)
        number += fast.count
        slow = self._roll(
            "bias 800", Kind.BIAS, SLOW_ISO, BIAS_S, 10, fast.end(), (20.4, 20.8), 101, first_number=number
        )
        cards.append(Card("first-shortest-exposures", (), fast.files(self.seed) + slow.files(self.seed)))
        return tuple(cards)

    def second_body(self) -> tuple[Card, ...]:
        """A night at both ISO settings, with darks and biases for one of them only; nothing stated with the lights."""
        start = datetime(2026, 10, 3, 21, 20, tzinfo=UTC)
        slow = self._roll("light 800", Kind.LIGHT, SLOW_ISO, SUB_S, 12, start, (13.4, 11.8), 100, target="NGC 891")
        fast = self._roll(
            "light 1600", Kind.LIGHT, FAST_ISO, SUB_S, 8, slow.end() + timedelta(minutes=3), (11.8, 11.1), 100,
            target="NGC 891", first_number=1 + slow.count,
        )  # fmt: skip
        flats = self._roll(
            "flat", Kind.FLAT, SLOW_ISO, FLAT_S, 10, datetime(2026, 10, 4, 7, 30, tzinfo=UTC), (13.0, 13.4), 100,
            first_number=1 + slow.count + fast.count,
        )  # fmt: skip
        start = datetime(2026, 10, 10, 19, 0, tzinfo=UTC)
        darks = self._roll("dark 12C", Kind.DARK, SLOW_ISO, SUB_S, 10, start, (11.8, 12.3), 101)
        biases = self._roll(
            "bias 800", Kind.BIAS, SLOW_ISO, BIAS_S, 10, darks.end(), (12.2, 12.4), 101, first_number=1 + darks.count
        )
        return (
            Card("second-2026-10-03-evening", (), slow.files(self.seed) + fast.files(self.seed)),
            Card("second-2026-10-04-morning", (), flats.files(self.seed)),
            Card("second-fridge-12c", ("--temperature", "12"), darks.files(self.seed) + biases.files(self.seed)),
        )

    def _roll(
        self,
        name: str,
        kind: Kind,
        iso: int,
        exposure_s: float,
        count: int,
        start: datetime,
        ends_c: tuple[float, float],
        folder: int,
        *,
        first_number: int = 1,
        target: str | None = None,
    ) -> Roll:
        return Roll(
            f"{self.body} {name}", kind, self.camera, iso, exposure_s, scaled_count(count, self.scale), start, *ends_c,
            _counted(folder), first_number, REFLECTOR if kind in (Kind.LIGHT, Kind.FLAT) else None, None, target,
        )  # fmt: skip


def _counted(folder: int) -> Callable[[int], str]:
    """Names as a camera counts them (DCF, Design rule for Camera File system: folder 100 to 999, five characters)."""
    return lambda number: f"DCIM/{folder}PLLWK/IMG_{number:04d}.DNG"
