"""What a frame's figures say about light: signs, each sure, possible or absent, that it fell on the sensor.

Three signs need no black level: stars, a fall-off towards all four corners, and channels of a colour pattern that
differ. The fourth, the level above black, needs one: the file's own, or that of biases and darks of the same camera.
Limits are in standard deviations of one pixel; they are wide of what unlit sensors show (see tests/kinds).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp, sqrt

from darklib.facts.frame import FrameFacts, PixelFacts

CHANNELS_SURE, CHANNELS_POSSIBLE = 0.5, 0.3
FALL_SURE, FALL_POSSIBLE = 0.15, 0.09
LIT_SIGMA = 12.0
"""Dark current spreads over pixels by a tenth or more, so an unlit level can't stand further than this above black."""
UNLIT_SIGMA = 3.0
"""A level up to here may be dark current, or a sky too faint to be told from it."""
MOST_BLACK_SHARE = 0.13
"""Share of the range up to which black levels are seen: 2048 of 16383 is the highest in wide use."""
BRIGHT_SHARE = 0.12
"""Share of the range above that, which only light reaches."""
MARKED_FALL, MARKED_COLOUR = 0.02, 0.10
"""Where no black level is known: a bright frame's fall-off and colour are at least one of these shares of its level."""
SMOOTH_LEAK_SIGMA, SMOOTH_LEAK_SHARE = 1.5, 0.2
"""A glow of the readout amplifier is over long before the far side; stray light is not."""
COLOURLESS_GLOW = 0.04
UNEVEN_SIGMA, UNEVEN_SHARE = 0.15, 0.08
"""Strong vignetting is no parabola either: a share of the darkest corner's depth is allowed for."""
SLOPE_SIGMA = 0.6
"""More than a bias slopes; an evenly lit frame slopes by a percent or more, which is nearly a sigma."""

MUONS_PER_CM2_S = 1.0 / 60.0
"""Cosmic rays at sea level, about one a minute and square centimetre (common practice, no single source)."""
MUONS_LIKE_STARS = 0.3
"""Share of them whose tracks light several pixels as a star does: from a quarter in thin layers to all in thick ones
(simulated: 320 electrons a pixel's length, charge spread by 0.3 pixels)."""
USUAL_PIXEL_UM = 4.5
SOFT_COSMIC = 0.2
"""Of the tracks that pass for stars about so many are lit softly all round: those that come straight down."""
WHOLE_COSMIC = 0.03
LEAST_BY_CHANCE, SURE_CHANCE = 0.03, 0.002
"""So many are always allowed for; and what chance brings more seldom than this are stars."""
LINED_SIGMA, LINED_BY_CHANCE = 0.15, 0.5
"""Where rows or columns stand out, the pixels around a peak do so together."""
CROWDED, CROWDED_SHARE, CROWDED_CHANCE = 1.0, 0.003, 0.005
"""Hot pixels are crowded where so many clusters of them pass for stars; they lie as they lie, so that much that is
unlikely is seen."""
PERHAPS_CHANCE = 0.15
"""What chance brings more seldom than this is perhaps a star."""
SOME_PLAIN = 0.1
"""Of real stars this share at least is plain; what hot pixels feign near a glow hardly ever is."""


@dataclass(frozen=True, slots=True)
class Signs:
    """above_sigma: level of the brightest channel above black in standard deviations, None without a black level.
    share: the level above black as a share of the range; without a black level, above the highest usual one.
    certain_share: likewise, with a range of 16 bits where the file tells none. marked: whether without a black level
    what light does is marked enough for the whole level to be light.
    stars, colour, fall: 2 sure, 1 possible, 0 absent. leak: light or glow that reaches across the frame.
    over_noise: `share` in standard deviations.
    most_above_sigma: as above_sigma, the most that the noise leaves room for; None where that is not known.
    soft, soft_expected: how many stars are lit softly all round, and how many chance explains; plain,
    whole: likewise of the plain ones and of those lit wholly; crowded: hot pixels crowd.
    contrast: height of the third brightest star over the level above black.
    """

    above_sigma: float | None
    share: float
    certain_share: float
    marked: bool
    over_noise: float
    stars: int
    star_count: float
    contrast: float
    colour: int
    colour_share: float | None
    fall: int
    leak: bool
    uneven: bool
    sloping: bool
    most_above_sigma: float | None = None
    plain: float = 0.0
    plain_expected: float = 0.0
    soft: float = 0.0
    soft_expected: float = 0.0
    whole: float = 0.0
    whole_expected: float = 0.0
    crowded: bool = False
    lined: bool = False

    @property
    def lit(self) -> bool:
        """Whether light surely fell on it."""
        high = self.above_sigma is not None and self.above_sigma > LIT_SIGMA
        return self.stars == 2 or self.colour == 2 or self.fall == 2 or high or self.certain_share > BRIGHT_SHARE

    @property
    def perhaps_lit(self) -> bool:
        """Whether any sign is there at all, apart from the level."""
        return self.lit or self.leak or self.uneven or max(self.stars, self.colour, self.fall) > 0


def signs_of(facts: FrameFacts, pixels: PixelFacts, black_dn: float | None) -> Signs | None:
    """The signs of one frame; None where its pixels have no figures of structure (a tiny frame).

    black_dn: level of unlit frames of this camera, or None; the file's own is used then.
    """
    figures = pixels.structure
    if not figures:
        return None
    noise, level = figures["noise_dn"], figures["level_dn"]
    if black_dn is None:
        black_dn = own_black(facts, level, noise)
    above_dn = level if black_dn is None else level - black_dn
    top, certain_top = range_dn(facts, pixels), max(range_dn(facts, pixels), certain_range_dn(facts, pixels))
    share, certain_share = (
        level / whole - MOST_BLACK_SHARE if black_dn is None else above_dn / max(whole - black_dn, 1e-9)
        for whole in (top, certain_top)
    )
    spread = figures["channel_spread_sigma"]
    marked = figures["fall_mean_sigma"] > MARKED_FALL * level / noise or spread > MARKED_COLOUR * level / noise
    counts = counts_of(pixels)
    glow, dip = figures["glow_sigma"], figures["dip_sigma"]
    fall = figures["fall_least_sigma"]
    return Signs(
        above_sigma=None if black_dn is None else above_dn / noise,
        share=share,
        certain_share=certain_share,
        marked=marked or black_dn is not None,
        over_noise=share * top / noise,
        stars=star_grade(counts, expected_cosmic_stars(facts, pixels)),
        star_count=max(0.0, figures["stars"] - figures["stars_by_chance"]),
        contrast=figures["star_peak_dn"] / max(above_dn, noise),
        colour=_graded(spread, CHANNELS_SURE, CHANNELS_POSSIBLE),
        colour_share=None if black_dn is None or above_dn <= 0 else spread * noise / above_dn,
        fall=_graded(fall, FALL_SURE, FALL_POSSIBLE),
        leak=glow > SMOOTH_LEAK_SIGMA and dip > SMOOTH_LEAK_SHARE * glow and not _colourless_glow(facts, figures),
        uneven=figures["uneven_sigma"] > max(UNEVEN_SIGMA, glow, UNEVEN_SHARE * dip),
        sloping=max(glow, dip) > SLOPE_SIGMA or figures["uneven_sigma"] > UNEVEN_SIGMA,
        most_above_sigma=most_above_sigma(facts, pixels),
        plain=figures["plain_stars"],
        plain_expected=_at_most(figures["plain_stars_by_chance"]) + expected_cosmic_stars(facts, pixels),
        soft=figures.get("soft_stars", 0.0),
        soft_expected=_at_most(figures.get("soft_stars_by_chance", 0.0))
        + SOFT_COSMIC * expected_cosmic_stars(facts, pixels),
        whole=figures.get("whole_stars", 0.0),
        whole_expected=LEAST_BY_CHANCE + WHOLE_COSMIC * expected_cosmic_stars(facts, pixels),
        crowded=counts.crowded,
        lined=counts.lined,
    )


def _colourless_glow(facts: FrameFacts, figures: Mapping[str, float]) -> bool:
    """Whether all colours of a pattern see the glow alike, as they do the amplifier's and no light through filters."""
    colour = figures.get("glow_colour_sigma")
    return facts.cfa is not None and colour is not None and colour < COLOURLESS_GLOW * figures["glow_sigma"]


def most_above_sigma(facts: FrameFacts, pixels: PixelFacts) -> float | None:
    """How far above black a frame can lie at most, by its noise, where the file tells the electrons of one DN.

    Light and heat bring at least Poisson's noise: of N electrons its square root. So with a noise of s electrons there
    are at most s^2 of them, which is s standard deviations (Janesick, Photon Transfer).
    """
    if facts.e_per_dn is None or facts.e_per_dn <= 0 or not pixels.structure:
        return None
    return facts.e_per_dn * pixels.structure["noise_dn"]


def own_black(facts: FrameFacts, level_dn: float, noise_dn: float) -> float | None:
    """The black level the file tells, unless the pixels belie it."""
    black = facts.black_dn
    if black is None or black <= 0 or level_dn < black - UNLIT_SIGMA * noise_dn:
        return None
    return black


def range_dn(facts: FrameFacts, pixels: PixelFacts) -> float:
    """The highest value the frame could hold: as the file tells, else the least usual range that holds its values."""
    if facts.white_dn is not None and facts.white_dn > 0:
        return facts.white_dn
    if facts.bits is not None and 8 <= facts.bits <= 16 and pixels.max_dn < 1 << facts.bits:
        return float((1 << facts.bits) - 1)
    for top in (1.0, 4095.0, 16383.0, 65535.0):
        if pixels.max_dn <= top and (top > 1.0 or not pixels.exact):
            return top
    return pixels.max_dn


def certain_range_dn(facts: FrameFacts, pixels: PixelFacts) -> float:
    """As `range_dn`, but the widest range where the file tells none."""
    if facts.white_dn or facts.bits or not pixels.exact:
        return range_dn(facts, pixels)
    return 65535.0


def expected_cosmic_stars(facts: FrameFacts, pixels: PixelFacts) -> float:
    """How many tracks of cosmic rays pass for stars on a sensor of this size in this exposure."""
    pitch_cm = (facts.pixel_size_um or USUAL_PIXEL_UM) * facts.binning[0] * 1e-4
    area_cm2 = pixels.width * pixels.height * pitch_cm**2
    return MUONS_PER_CM2_S * area_cm2 * (facts.exposure_s or 0.0) * MUONS_LIKE_STARS


@dataclass(frozen=True, slots=True)
class StarCounts:
    """Sources of a frame: all, the plain ones, lit softly all round, lit wholly; and what chance explains.

    lined: whether whole rows or columns stand out; hot_share: hot pixels of all.
    """

    stars: float
    stars_by_chance: float
    plain: float
    plain_by_chance: float
    soft: float
    soft_by_chance: float
    whole: float
    lined: bool = False
    hot_share: float = 0.0

    @property
    def crowded(self) -> bool:
        """Whether hot pixels lie so close that clusters of them pass for stars."""
        return max(self.stars_by_chance, self.soft_by_chance) >= CROWDED or self.hot_share > CROWDED_SHARE


def star_grade(found: StarCounts, cosmic: float) -> int:
    """2: more stars than chance and cosmic rays give; 1: perhaps some; 0: no sign of any.

    By chance: the mean of controls, each of which counts what passes for a star elsewhere. cosmic: how many tracks of
    cosmic rays pass for stars.
    """
    plain_expected = _at_most(found.plain_by_chance) + cosmic
    expected = _at_most(found.stars_by_chance) + 2.0 * cosmic
    soft_expected = _at_most(found.soft_by_chance) + SOFT_COSMIC * cosmic
    whole_expected = LEAST_BY_CHANCE + WHOLE_COSMIC * cosmic
    if unlikely(found.whole, whole_expected, SURE_CHANCE):
        return 2
    perhaps = unlikely(found.whole, whole_expected, PERHAPS_CHANCE)
    if found.crowded:
        # Clusters of hot pixels are plain, and by far not all of them are like what chance makes of single ones.
        round_too = found.whole > 0 or found.soft > 3.0 * soft_expected + 5.0
        if round_too and found.stars > 3.0 * expected + 20.0 and found.plain > 3.0 * plain_expected + 10.0:
            return 2
        perhaps |= unlikely(found.plain, plain_expected, CROWDED_CHANCE)
        perhaps |= unlikely(found.soft, soft_expected, CROWDED_CHANCE)
        return int(perhaps or unlikely(found.stars, expected, CROWDED_CHANCE))
    if unlikely(found.soft, soft_expected + (LINED_BY_CHANCE if found.lined else LEAST_BY_CHANCE), SURE_CHANCE):
        return 2
    if found.plain > plain_expected + 2.0 + 2.0 * sqrt(plain_expected):
        return 2
    some_plain = found.plain > plain_expected and found.plain > SOME_PLAIN * found.stars
    if some_plain and found.stars > expected + 3.0 + 3.0 * sqrt(expected + 0.5):
        return 2
    perhaps |= unlikely(found.plain, plain_expected, PERHAPS_CHANCE)
    perhaps |= unlikely(found.soft, soft_expected, PERHAPS_CHANCE)
    return int(perhaps or unlikely(found.stars, max(expected, 0.02), PERHAPS_CHANCE / 3.0))


def _at_most(by_chance: float) -> float:
    # The mean of four controls is itself uncertain by half its root.
    return by_chance + 0.5 * sqrt(by_chance)


def unlikely(count: float, expected: float, chance: float) -> bool:
    """Whether so many or more come with no more than this chance, 0..1 (Poisson's law)."""
    if count <= expected:
        return False
    if expected > 50.0:
        return count > expected + 1.5 * sqrt(expected)
    term = total = exp(-expected)
    for number in range(1, round(count)):
        term *= expected / number
        total += term
    return 1.0 - total < chance


def counts_of(pixels: PixelFacts) -> StarCounts:
    """The counts among a frame's figures; those that an older measurement did not have are none."""
    figures = pixels.structure
    return StarCounts(
        stars=figures["stars"],
        stars_by_chance=figures["stars_by_chance"],
        plain=figures["plain_stars"],
        plain_by_chance=figures["plain_stars_by_chance"],
        soft=figures.get("soft_stars", 0.0),
        soft_by_chance=figures.get("soft_stars_by_chance", 0.0),
        whole=figures.get("whole_stars", 0.0),
        lined=max(figures["rows_sigma"], figures["columns_sigma"]) > LINED_SIGMA,
        hot_share=figures["hot_pixels"] / figures["pixels"],
    )


def _graded(value: float, sure: float, possible: float) -> int:
    return 2 if value > sure else 1 if value > possible else 0
