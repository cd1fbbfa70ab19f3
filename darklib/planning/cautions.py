"""What to mind while shooting what lacks: only what applies, and the makers' manuals first.

The cautions are common practice, no single source.
"""

import math
from collections.abc import Sequence

from darklib.facts.frame import Kind
from darklib.facts.plan import Gap, Plan
from darklib.facts.settings import Settings

ROOM_C, ROOM_HUMIDITY_PERCENT = 20.0, 50.0
"""The room a camera comes back into, where nobody has stated another."""

FRIDGE_C = 2.0
"""Colder than this needs a freezer, or a cold night."""

FLATS = (
    "Flats by daylight or twilight: never point a telescope, finder or camera lens near the Sun. Cap the optics and "
    "turn away before direct sunlight can reach them, and never leave them uncapped by day. A cloth or panel in front "
    "is a diffuser, not a solar filter. Nobody looks through eyepiece, finder or optical viewfinder: direct or focused "
    "sunlight blinds and burns at once."
)
FRIDGE = (
    "Camera in a fridge or ice chest: in a sealed bag with fresh desiccant. No mains supply in the damp: only low "
    "voltage leads go through the door, the supply stays outside and dry. The bag holds the camera's own heat: watch "
    "its reading and stop at its warning. Not beside food or medicine that matters."
)
FREEZER = (
    "A kitchen freezer is below the operating range of most cameras. Use one only down to the lowest temperature in "
    "that body's manual, set as lowest_c under its [cameras] entry; otherwise shoot these on a cold night outdoors."
)
COOLED = (
    "A camera with its own cooler does not belong in a bag or fridge: its heat sink needs moving air. Cool and warm it "
    "as its maker says."
)
BATTERIES = (
    "Lithium batteries: never charge them below 0 degrees C or while wet; put swollen or wet ones out of use. Keep "
    "desiccants away from children, pets and food."
)
DRY_ICE = "Dry ice: never in a fridge, car, tight box or closed room; not advised for consumer cameras."
MANUAL = "These figures are guidance, not a warranty: the maker's manual and local rules come first."


def cautions(
    gaps: Sequence[Gap],
    plan: Plan | None,
    settings: Settings,
    *,
    room_c: float | None = None,
    humidity_percent: float | None = None,
) -> tuple[str, ...]:
    """The cautions that apply to shooting these gaps, the most dangerous first; none where nothing is to be shot.

    room_c, humidity_percent: of the air the camera comes back into; a common room where not given.
    """
    wanted = [gap for gap in gaps if gap.still_possible and gap.need > gap.have]
    if not wanted:
        return ()
    found = []
    if any(gap.kind is Kind.FLAT for gap in wanted):
        found.append(FLATS)
    cold = [gap for gap in wanted if gap.kind is not Kind.FLAT and (gap.interval is not None or _may_want_cold(gap))]
    uncooled = [gap for gap in cold if gap.cooled is not True]
    if uncooled:
        found += [
            FRIDGE,
            rewarming(
                ROOM_C if room_c is None else room_c,
                ROOM_HUMIDITY_PERCENT if humidity_percent is None else humidity_percent,
            ),
        ]
        if _coldest(uncooled, plan) < FRIDGE_C:
            found.append(FREEZER)
        found += [BATTERIES, DRY_ICE]
    if any(gap.cooled is True for gap in cold):
        found.append(COOLED)
    return (*found, MANUAL)


def _may_want_cold(gap: Gap) -> bool:
    """Darks for lights of unknown temperature: whoever shoots them without a cooler may well take a fridge."""
    return gap.role == "dark" and gap.cooled is not True


def rewarming(room_c: float = ROOM_C, humidity_percent: float = ROOM_HUMIDITY_PERCENT) -> str:
    """How to bring a cold camera back into a room of that temperature and relative humidity."""
    dew_c = dew_point_c(room_c, humidity_percent)
    return (
        f"Rewarm the camera in the closed bag until it is above the dew point: {dew_c:.1f} C in a room of "
        f"{room_c:.0f} C at {humidity_percent:.0f} percent humidity. Commonly that takes two hours or more."
    )


def dew_point_c(temperature_c: float, humidity_percent: float) -> float:
    """Dew point in degrees C of air at temperature_c and a relative humidity in percent, above 0 and up to 100.

    Magnus form with the coefficients of Alduchov & Eskridge 1996, "Improved Magnus Form Approximation of Saturation
    Vapor Pressure", J. Appl. Meteor. 35, for -40 to 50 C over water. Raises ValueError for an impossible humidity.
    """
    if not 0 < humidity_percent <= 100:
        raise ValueError("a relative humidity lies above 0 and up to 100 percent")
    g = math.log(humidity_percent / 100.0) + 17.625 * temperature_c / (243.04 + temperature_c)
    return 243.04 * g / (17.625 - g)


def _coldest(gaps: Sequence[Gap], plan: Plan | None) -> float:
    """The coldest temperature at which something is to be shot for these gaps: by the plan, else what is best; infinite
    where no temperature is known at all.
    """
    bodies = {gap.body.id if gap.body else None for gap in gaps}
    planned = [
        step.temperature_c
        for step in (plan.steps if plan is not None else ())
        if step.temperature_c is not None and (step.body.id if step.body else None) in bodies
    ]
    best = [gap.interval.shoot_at_c for gap in gaps if gap.interval is not None]
    return min(planned or best, default=math.inf)
