"""What the jobs of keeping safe return: may a card be erased, is all as it was stored, is there a second copy."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class SetAsideFile:
    """A file that could not be taken: reason in words, code of `facts/codes.SET_ASIDE`."""

    path: str
    reason: str
    code: str


@dataclass(frozen=True, slots=True)
class PassedOver:
    """A file that is no frame: code of `facts/codes.PASSED_OVER`."""

    path: str
    code: str


@dataclass(frozen=True, slots=True)
class NotStored:
    """A file on a card that is not safe. code: unknown (never taken in), copy_missing, copy_differs and the like."""

    path: str
    code: str
    text: str


@dataclass(frozen=True, slots=True)
class CheckResult:
    """Whether a card may be erased. checked: images looked at; stored: those whose stored copy was read again now.

    remarks: sentences on frames that are stored, but not in the library's own folders.
    """

    checked: int
    stored: int
    set_aside: tuple[SetAsideFile, ...]
    not_stored: tuple[NotStored, ...]
    passed_over: tuple[PassedOver, ...]
    may_erase: bool
    remarks: tuple[str, ...] = ()

    @property
    def needs_attention(self) -> bool:
        return not self.may_erase


@dataclass(frozen=True, slots=True)
class Finding:
    """Something verify found. id: the frame's, where there is one."""

    path: str
    id: str | None
    code: str
    text: str


@dataclass(frozen=True, slots=True)
class VerifyResult:
    """What differs from what was recorded. catalogue: "ok" or what is wrong with it. against: the second copy.

    remarks: sentences that are no findings, such as a torn last line of an interrupted run's journal. in_place: with
    `against`, frames catalogued where they lie, of which the copy holds nothing. noted: with `against`, whether the
    journal now holds that this copy was found whole.
    """

    checked: int
    intact: int
    differing: tuple[Finding, ...]
    missing: tuple[Finding, ...]
    unknown_files: tuple[str, ...]
    catalogue: str
    against: str | None = None
    remarks: tuple[str, ...] = ()
    in_place: tuple[str, ...] = ()
    noted: bool | None = None
    dry_run: bool = False

    @property
    def needs_attention(self) -> bool:
        return bool(self.differing or self.missing or self.unknown_files) or self.catalogue != "ok"


@dataclass(frozen=True, slots=True)
class SecondCopy:
    """What is known of a second copy of the library. path, checked_at: of the newest check that found it whole.

    not_covered: stored frames that came later, or all where none was ever checked. in_place: frames catalogued where
    they lie, which are in no copy of the library.
    """

    path: str | None = None
    checked_at: datetime | None = None
    not_covered: int = 0
    in_place: int = 0
