"""A rename that refuses a taken name, in one step, where the system has one. Called by `seam` alone.

Needed where there are no hard links: USB disks and cards with FAT or exFAT.
"""

import errno
import os
import sys
from functools import cache
from typing import Any

_AT_FDCWD = -100  # "the current folder", for Linux's calls with folder handles (fcntl.h)
_RENAME_NOREPLACE = 1  # linux/fs.h
_RENAME_EXCL = 4  # macOS, sys/stdio.h


def rename_new(old: str, new: str) -> None:
    """FileExistsError where `new` is taken; OSError with ENOSYS or EINVAL where system or disk know no such call."""
    if os.name == "nt":
        os.rename(old, new)  # on Windows rename itself refuses
        return
    if sys.platform == "linux":
        call, arguments = _system("renameat2"), (_AT_FDCWD, os.fsencode(old), _AT_FDCWD, os.fsencode(new))
        flag = _RENAME_NOREPLACE
    else:
        call, arguments, flag = _system("renamex_np"), (os.fsencode(old), os.fsencode(new)), _RENAME_EXCL
    if call is None:
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS), new)
    import ctypes

    ctypes.set_errno(0)
    if call(*arguments, ctypes.c_uint(flag)) != 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number), new)


@cache
def _system(name: str) -> Any:
    """A function of the C library, or None (old C libraries have no renameat2, other systems neither)."""
    import ctypes

    try:
        return getattr(ctypes.CDLL(None, use_errno=True), name)
    except (OSError, AttributeError):
        return None
