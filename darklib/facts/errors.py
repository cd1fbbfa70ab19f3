"""The one error a user can act on, and the exit statuses."""

from enum import IntEnum


class Exit(IntEnum):
    """Exit status of a command; the worst one wins (see `worst`)."""

    DONE = 0
    FAILED = 1
    USAGE = 2
    ATTENTION = 3
    STOPPED = 130


class DarklibError(Exception):
    """Something went wrong that the user can do something about.

    code: a stable word for programs; text: one sentence saying what happened;
    path: the file or folder concerned, if any; remedy: what to do about it.
    status: exit status of the command that fails with it.
    """

    def __init__(
        self, code: str, text: str, *, path: str | None = None, remedy: str = "", status: Exit = Exit.FAILED
    ) -> None:
        super().__init__(text)
        self.code = code
        self.text = text
        self.path = path
        self.remedy = remedy
        self.status = status

    def __reduce__(self) -> tuple[object, ...]:
        # Exceptions with keyword arguments do not survive pickling by default, and ours cross process borders.
        return (_rebuilt, (self.code, self.text, self.path, self.remedy, int(self.status)))


def _rebuilt(code: str, text: str, path: str | None, remedy: str, status: int) -> DarklibError:
    return DarklibError(code, text, path=path, remedy=remedy, status=Exit(status))
