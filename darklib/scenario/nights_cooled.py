"""The nights of the cooled camera: five cards of FITS files, as its capture program laid them out."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from darklib.facts.frame import Kind
from darklib.scenario.camera import Camera
from darklib.scenario.cast import COOLED_GAIN, REFRACTOR, REFRACTOR_DUST, cooled_camera
from darklib.scenario.files import Card, ScenarioFile
from darklib.scenario.oddments import compressed, copied, cut_short, empty, note
from darklib.scenario.optics import Train
from darklib.scenario.roll import Roll

STRAIGHT = Train(REFRACTOR, REFRACTOR_DUST, 0.0, (0.3, -0.2))
TURNED = Train(REFRACTOR, REFRACTOR_DUST, 37.0, (0.3, -0.2))
"""The same telescope after the camera was turned in its seat between September and October."""

PANEL_SECONDS = {"L": 2.0, "R": 4.0, "G": 4.0, "B": 4.0, "H-alpha": 12.0}
COLD, LESS_COLD = -10.0, -5.0


def cooled_cards(seed: int, scale: float) -> tuple[Card, ...]:
    """The camera's cards in the order they were shot."""
    desk = _Desk(cooled_camera(seed), seed, scale)
    return (desk.cloudy_evening(), desk.first_night(), desk.second_night(), desk.turned_night(), desk.short_night())


class _Desk:
    """Where the camera, the seed and the size of the scenario meet."""

    def __init__(self, camera: Camera, seed: int, scale: float) -> None:
        self.camera, self.seed, self.scale = camera, seed, scale

    def cloudy_evening(self) -> Card:
        """Darks, biases and dark flats with the cap on."""
        start = datetime(2026, 9, 6, 19, 30, tzinfo=UTC)
        files: list[ScenarioFile] = []
        for group, exposure_s, set_c, count in (
            ("cooled dark 300s -10C", 300.0, COLD, 20),
            ("cooled dark 300s -5C", 300.0, LESS_COLD, 12),
            ("cooled dark flat 2s", 2.0, COLD, 10),
            ("cooled dark flat 4s", 4.0, COLD, 10),
        ):
            roll = self._roll(
                group, Kind.DARK, exposure_s, count, start, set_c, f"dark/{set_c:.0f}C/dark_{exposure_s:.0f}s"
            )
            files += roll.files(self.seed)
            start = roll.end() + timedelta(minutes=10)
        roll = self._roll("cooled bias", Kind.BIAS, 0.0, 20, start, COLD, "bias/bias", pause_s=2.0)
        files += roll.files(self.seed)
        return Card("cooled-2026-09-06-cloudy", (), tuple(files))

    def first_night(self) -> Card:
        """One target through four filters, and flats of each the next morning."""
        night, start = "2026-09-12", datetime(2026, 9, 12, 21, 40, tzinfo=UTC)
        files: list[ScenarioFile] = []
        for filter_, count in (("L", 8), ("R", 5), ("G", 5), ("B", 5)):
            roll = self._lights(night, "NGC 7331", filter_, count, start, COLD, STRAIGHT)
            files += roll.files(self.seed)
            start = roll.end() + timedelta(minutes=1)
        files += self._flats(night, ("L", "R", "G", "B"), datetime(2026, 9, 13, 7, 20, tzinfo=UTC), STRAIGHT)
        return Card("cooled-2026-09-12", (), tuple(files))

    def second_night(self) -> Card:
        """The same target again with a meridian flip half-way, then another through hydrogen-alpha, less cold."""
        night, start = "2026-09-13", datetime(2026, 9, 13, 21, 30, tzinfo=UTC)
        first = self._lights(night, "NGC 7331", "L", 10, start, COLD, STRAIGHT, flips=True)
        second = self._lights(night, "NGC 6946", "H-alpha", 8, first.end() + timedelta(minutes=20), LESS_COLD, STRAIGHT)
        lights = first.files(self.seed) + second.files(self.seed)
        flats = self._flats(night, ("L", "H-alpha"), datetime(2026, 9, 14, 7, 25, tzinfo=UTC), STRAIGHT)
        over = second.end()
        odd = (
            note("notes.txt", over, "Dew on the corrector after two. The disk was full when the last frame came.\n"),
            cut_short(lights[-1], "NGC 6946/H-alpha/NGC6946_H-alpha_300s_0009.fits", over),
            empty("NGC 6946/H-alpha/NGC6946_H-alpha_300s_0010.fits", over),
        )
        return Card("cooled-2026-09-13", (), lights + flats + odd)

    def turned_night(self) -> Card:
        """After the camera was turned: luminance with flats of its own, hydrogen-alpha without."""
        night, start = "2026-10-03", datetime(2026, 10, 3, 21, 0, tzinfo=UTC)
        first = self._lights(night, "NGC 6946", "L", 8, start, COLD, TURNED)
        second = self._lights(night, "NGC 6946", "H-alpha", 6, first.end() + timedelta(minutes=2), COLD, TURNED)
        luminance = first.files(self.seed)
        files = (*luminance[:-1], compressed(luminance[-1]), *second.files(self.seed))
        files += self._flats(night, ("L",), datetime(2026, 10, 4, 7, 40, tzinfo=UTC), TURNED)
        original = self.cloudy_evening().files[2]
        again = copied(original, "old/Copy of dark 3.fits", datetime(2026, 10, 4, 9, 0, tzinfo=UTC))
        return Card("cooled-2026-10-03", (), (*files, again))

    def short_night(self) -> Card:
        """Lights of 180 s between clouds: there are no darks of that length."""
        night, start = "2026-10-17", datetime(2026, 10, 17, 22, 10, tzinfo=UTC)
        lights = self._lights(night, "NGC 7331", "L", 6, start, COLD, TURNED, exposure_s=180.0)
        flats = self._flats(night, ("L",), datetime(2026, 10, 18, 7, 50, tzinfo=UTC), TURNED)
        return Card("cooled-2026-10-17", (), lights.files(self.seed) + flats)

    def _lights(
        self,
        night: str,
        target: str,
        filter_: str,
        count: int,
        start: datetime,
        set_c: float,
        train: Train,
        *,
        flips: bool = False,
        exposure_s: float = 300.0,
    ) -> Roll:
        scaled = self._count(count)
        stem = f"{target}/{filter_}/{target.replace(' ', '')}_{filter_}_{exposure_s:.0f}s"
        return Roll(
            f"cooled light {night} {target} {filter_}", Kind.LIGHT, self.camera, COOLED_GAIN, exposure_s, scaled,
            start, set_c, set_c, _numbered(stem), train=train, filter=filter_, target=target,
            flip_after=scaled // 2 if flips else None, nebula_e_per_s=0.12 if filter_ == "H-alpha" else 0.0,
        )  # fmt: skip

    def _flats(self, night: str, filters: tuple[str, ...], start: datetime, train: Train) -> tuple[ScenarioFile, ...]:
        files: tuple[ScenarioFile, ...] = ()
        for filter_ in filters:
            roll = Roll(
                f"cooled flat {night} {filter_}", Kind.FLAT, self.camera, COOLED_GAIN, PANEL_SECONDS[filter_],
                self._count(10), start, COLD, COLD, _numbered(f"flat/{filter_}/flat_{filter_}"), train=train,
                filter=filter_,
            )  # fmt: skip
            files += roll.files(self.seed)
            start = roll.end() + timedelta(seconds=30)
        return files

    def _roll(
        self,
        group: str,
        kind: Kind,
        exposure_s: float,
        count: int,
        start: datetime,
        set_c: float,
        stem: str,
        *,
        pause_s: float = 6.0,
    ) -> Roll:
        return Roll(
            group, kind, self.camera, COOLED_GAIN, exposure_s, self._count(count), start, set_c, set_c,
            _numbered(stem), pause_s=pause_s,
        )  # fmt: skip

    def _count(self, full: int) -> int:
        return scaled_count(full, self.scale)


def scaled_count(full: int, scale: float) -> int:
    """How many frames of a full series a smaller scenario has: at least three."""
    return max(3, round(full * scale))


def _numbered(stem: str) -> Callable[[int], str]:
    return lambda number: f"{stem}_{number:04d}.fits"
