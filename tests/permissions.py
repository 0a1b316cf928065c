"""File permissions that bind root as well: tests often run as root, who may write into what is read-only."""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
from collections.abc import Iterator

# from the headers of Linux: version 3 of the structure, and the two rights to pass over permissions (capability.h)
_VERSION, _WORDS = 0x20080522, 2
_PASS_OVER = 1 << 1 | 1 << 2  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH


class _Header(ctypes.Structure):
    _fields_ = (("version", ctypes.c_uint32), ("pid", ctypes.c_int))


class _Rights(ctypes.Structure):
    _fields_ = (("effective", ctypes.c_uint32), ("permitted", ctypes.c_uint32), ("inheritable", ctypes.c_uint32))


@contextlib.contextmanager
def permissions_hold() -> Iterator[None]:
    """This thread, and what it starts, may write only what the permissions of a file or folder allow."""
    if not sys.platform.startswith("linux") or os.geteuid() != 0:
        yield
        return
    libc = ctypes.CDLL(None, use_errno=True)
    header, rights = _Header(_VERSION, 0), (_Rights * _WORDS)()

    def call(function):
        if function(ctypes.byref(header), rights) != 0:
            raise OSError(ctypes.get_errno(), "the rights of this thread cannot be set")

    call(libc.capget)
    had = rights[0].effective
    rights[0].effective = had & ~_PASS_OVER
    call(libc.capset)
    try:
        yield
    finally:
        rights[0].effective = had
        call(libc.capset)
