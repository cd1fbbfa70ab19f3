"""Which calibration frames may serve at all: the hard rules, one table a kind.

Both sides known and different: the set is excluded and the rule's code says why. One side unknown: the set stays a
candidate after all those of which everything is known, and says what is not known.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any, Protocol

from darklib.facts.codes import REASONS
from darklib.facts.frame import BodyRef, Readout
from darklib.facts.match import BodyChange, Reason
from darklib.facts.train import TrainRef, plain_name


class Shot(Protocol):
    """What the rules compare: a batch, a series or a set."""

    @property
    def body(self) -> BodyRef | None: ...
    @property
    def readout(self) -> Readout: ...
    @property
    def filter(self) -> str | None: ...
    @property
    def train(self) -> TrainRef | None: ...


SAME, DIFFERENT, UNKNOWN = "same", "different", "unknown"


@dataclass(frozen=True, slots=True)
class Rule:
    """One thing that must agree. failed: code when it differs; unknown: code when one side does not know it."""

    failed: str
    unknown: str
    what: str
    compare: Callable[[Shot, Shot], str]


def _body(a: Shot, b: Shot) -> str:
    # Not even two unknown cameras are taken for one.
    if a.body is None or b.body is None:
        return UNKNOWN
    if a.body.id == b.body.id:
        return SAME
    # Of one model, and one of them seen without its serial number so far: it may be the same camera.
    one_model = (_word(a.body.make), _word(a.body.model)) == (_word(b.body.make), _word(b.body.model))
    return UNKNOWN if one_model and (a.body.serial is None or b.body.serial is None) else DIFFERENT


def _word(text: str | None) -> str:
    return " ".join((text or "").split()).casefold()


def _train(a: Shot, b: Shot) -> str:
    if a.train is None or b.train is None:
        return UNKNOWN
    return SAME if a.train.fingerprint == b.train.fingerprint else DIFFERENT


def _filter(a: Shot, b: Shot) -> str:
    # Lights and flats that both name no filter were taken without one, or by a colour camera.
    return _plain(plain_name(a.filter) or None, plain_name(b.filter) or None)


def _gain(a: Shot, b: Shot) -> str:
    """Gain and ISO say one thing in two ways; what both sides say is compared. A camera that says neither has one."""
    answers = {_plain(a.readout.gain, b.readout.gain), _plain(a.readout.iso, b.readout.iso)}
    if DIFFERENT in answers:
        return DIFFERENT
    compared = (a.readout.gain is not None and b.readout.gain is not None) or (
        a.readout.iso is not None and b.readout.iso is not None
    )
    return SAME if compared or answers == {SAME} else UNKNOWN


def _scale(a: Shot, b: Shot) -> str:
    """The values' step, from the pixels, and the bits that a file states; the bits alone may be missing."""
    x, y = a.readout, b.readout
    if x.bits is not None and y.bits is not None and x.bits != y.bits:
        return DIFFERENT
    return _plain(x.dn_step, y.dn_step)


def _place(a: Shot, b: Shot) -> str:
    """Which part of the sensor. A file that names no origin is a full frame until the other one says otherwise."""
    x = (a.readout.origin_x, a.readout.origin_y)
    y = (b.readout.origin_x, b.readout.origin_y)
    if (x[0] or 0, x[1] or 0) == (y[0] or 0, y[1] or 0):
        return SAME
    return UNKNOWN if None in x or None in y else DIFFERENT


def _size(a: Shot, b: Shot) -> str:
    answers = {_plain(a.readout.width, b.readout.width), _plain(a.readout.height, b.readout.height)}
    return DIFFERENT if DIFFERENT in answers else UNKNOWN if UNKNOWN in answers else SAME


def _of(name: str) -> Callable[[Shot, Shot], str]:
    return lambda a, b: _plain(getattr(a.readout, name), getattr(b.readout, name))


def _plain(a: Any, b: Any) -> str:
    if a is None and b is None:
        return SAME
    if a is None or b is None:
        return UNKNOWN
    if isinstance(a, float) or isinstance(b, float):
        return SAME if abs(a - b) <= 1e-6 * max(1.0, abs(a), abs(b)) else DIFFERENT
    return SAME if a == b else DIFFERENT


BODY = Rule("other_body", "body_unknown", "the camera body", _body)
BINNING = Rule("other_binning", "readout_unknown", "the binning", _of("binning"))
SIZE = Rule("other_size", "readout_unknown", "the frame size", _size)
PLACE = Rule("cropped", "readout_unknown", "the part of the sensor", _place)
CFA = Rule("other_cfa", "readout_unknown", "the colour filter pattern", _of("cfa"))
ROWS = Rule("flipped", "readout_unknown", "the order of rows", _of("row_order"))
GAIN = Rule("other_gain", "gain_unknown", "the gain or ISO", _gain)
OFFSET = Rule("other_offset", "offset_unknown", "the offset", _of("offset"))
MODE = Rule("other_mode", "readout_unknown", "the readout mode", _of("readout_mode"))
SCALE = Rule("other_dn_scale", "readout_unknown", "the scale of the values", _scale)
TRAIN = Rule("different_train", "train_unknown", "the optical train", _train)
FILTER = Rule("other_filter", "filter_unknown", "the filter", _filter)

SENSOR = (BODY, BINNING, SIZE, PLACE, CFA, ROWS)
READOUT = (GAIN, OFFSET, MODE, SCALE)
RULES: dict[str, tuple[Rule, ...]] = {
    "dark": SENSOR + READOUT,
    "bias": SENSOR + READOUT,
    "dark_flat": SENSOR + READOUT,
    # A flat is normalised, so gain, offset, mode and scale may differ.
    "flat": (*SENSOR, TRAIN, FILTER),
}
"""By role; for dark flats, and biases for flats, the flats take the lights' place."""

ENDED_BY: dict[str, frozenset[str]] = {
    "dark": frozenset({"remapped", "modified"}),
    "bias": frozenset({"modified"}),
    "dark_flat": frozenset({"remapped", "modified"}),
    "flat": frozenset({"cleaned", "modified"}),
}
"""Which change of a body ends older frames: a remap moves the hot pixels, a cleaning the dust, a modification both."""

DOUBTED_AFTER: dict[str, frozenset[str]] = {
    "dark": frozenset({"firmware"}),
    "bias": frozenset({"firmware"}),
    "dark_flat": frozenset({"firmware"}),
    "flat": frozenset(),
}
"""Which change leaves older frames usable at most: firmware may move the black level."""


def hard_rule(role: str, target: Shot, candidate: Shot) -> str | None:
    """Code of the first rule that the candidate breaks, or None. target: the batch, or the flats to be served."""
    return _answers(role, target, candidate).failed


def rules_broken(role: str, target: Shot, candidate: Shot) -> int:
    """How many rules the candidate breaks: a near miss is the nearer the fewer."""
    return _answers(role, target, candidate).broken


def unknowns(role: str, target: Shot, candidate: Shot) -> tuple[Reason, ...]:
    """A reason for each rule that cannot be checked, because one side does not know."""
    return _answers(role, target, candidate).unknown


@dataclass(frozen=True, slots=True)
class _Side:
    """All that the rules look at, and nothing else: years of series have few different ones."""

    body: BodyRef | None
    readout: Readout
    filter: str | None
    train: TrainRef | None


@dataclass(frozen=True, slots=True)
class _Answers:
    failed: str | None
    broken: int
    unknown: tuple[Reason, ...]


def _answers(role: str, target: Shot, candidate: Shot) -> _Answers:
    a = _Side(target.body, target.readout, target.filter, target.train)
    b = _Side(candidate.body, candidate.readout, candidate.filter, candidate.train)
    return _compared(role, a, b)


@lru_cache(maxsize=4096)
def _compared(role: str, a: _Side, b: _Side) -> _Answers:
    rules = RULES[role]
    answers = [rule.compare(a, b) for rule in rules]
    failed = [rule.failed for rule, answer in zip(rules, answers, strict=True) if answer == DIFFERENT]
    unknown = tuple(
        Reason(rule.unknown, f"{_capital(rule.what)} of one side is not known.")
        for rule, answer in zip(rules, answers, strict=True)
        if answer == UNKNOWN
    )
    return _Answers(failed[0] if failed else None, len(failed), unknown)


def changes_between(
    changes: Iterable[BodyChange],
    what: frozenset[str],
    a: tuple[datetime, datetime] | None,
    b: tuple[datetime, datetime] | None,
) -> list[BodyChange]:
    """Changes of those sorts that lie between two spans of time; none where one of them is not known.

    A change within one of the spans counts: it parts some of the frames from the others.
    """
    if a is None or b is None:
        return []
    low, high = min(a[0], b[0]), max(a[1], b[1])
    return [change for change in changes if change.what in what and low < change.at < high]


def sentence(code: str) -> str:
    """The plain sentence of a code, as a sentence."""
    return _capital(REASONS[code]) + "."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
